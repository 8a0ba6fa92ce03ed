"""One picture of many labels, to be looked at: names above, sizes true to one another."""

import io
from collections.abc import Sequence
from typing import Final

from PIL import Image, ImageDraw, ImageFont

from traceability.printing.barcodes import MM_PER_INCH
from traceability.printing.fonts import font_file
from traceability.printing.paper import Printed

WIDE: Final = 1600
"""Pixels across the picture."""
GAP: Final = 24
NAME: Final = 28
PIXELS_PER_MM: Final = 7.2
"""So that two pages of A4 stand side by side, and a reader still finds most symbols."""
TALLEST_MM: Final = 150
"""What is higher, as a page of A4 is, is shown half as large."""
GROUND: Final = 225


def contact_sheet(prints: Sequence[tuple[str, Printed]]) -> bytes:
    """Return the first page of each print in one PNG, by name."""
    font = ImageFont.truetype(font_file("sans"), 18)
    placed: list[tuple[int, int, str, Image.Image]] = []
    x, y, high = GAP, GAP, 0
    for name, made in sorted(prints, key=lambda each: (-_millimetres(each[1]), each[0])):
        picture = _scaled(made)
        if x + picture.width + GAP > WIDE and x > GAP:
            x, y, high = GAP, y + high + NAME + GAP, 0
        placed.append((x, y, name, picture))
        x, high = x + picture.width + GAP, max(high, picture.height)
    sheet = Image.new("L", (WIDE, y + high + NAME + GAP), GROUND)
    pen = ImageDraw.Draw(sheet)
    for left, top, name, picture in placed:
        pen.text((left, top), name, fill=0, font=font)
        sheet.paste(picture, (left, top + NAME))
    buffer = io.BytesIO()
    sheet.quantize(16).save(buffer, "PNG", optimize=True)
    return buffer.getvalue()


def _millimetres(made: Printed) -> float:
    return float(made.pages[0].shape[0]) * MM_PER_INCH / made.dpi


def _scaled(made: Printed) -> Image.Image:
    page = Image.fromarray(~made.pages[0]).convert("L")
    scale = PIXELS_PER_MM * MM_PER_INCH / made.dpi
    if _millimetres(made) > TALLEST_MM + 1:
        scale /= 2
    size = (round(page.width * scale), round(page.height * scale))
    return page.resize(size, Image.Resampling.LANCZOS)
