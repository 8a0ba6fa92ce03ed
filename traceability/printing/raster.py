"""The same label on a printer's own dots: what is looked at, read back, and sent to a printer.

A raster takes the very calls that a PDF page takes, so a preview is the label itself and not a
picture of one. Symbols and lines are whole dots already; letters are drawn finer and become black
where at least half a dot is covered, as a printer without grey does it.
"""

import io
import math
from functools import cache
from typing import Final

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from traceability.printing.barcodes import MIDDLE, POINTS_PER_INCH
from traceability.printing.fonts import font_file, text_width

Dots = NDArray[np.bool_]
"""Rows of dots from the top, True is black."""
FINE_DPI: Final = 800
"""Letters are drawn at this resolution at least, in whole parts of a dot."""
ROOM: Final = 1.25
"""Font sizes of room around a text for accents and descents."""
WHITE: Final = 255


class RasterPage:
    """Takes what a PDF canvas takes and blackens dots."""

    def __init__(self, width: float, height: float, dpi: int) -> None:
        """Make white pages of a size in points."""
        self._dpi = dpi
        self._height = height
        self._size = (
            round(width * dpi / POINTS_PER_INCH),
            round(height * dpi / POINTS_PER_INCH),
        )
        self._font, self._points = "sans", 10.0
        self._drawn = False
        self.pages: list[Dots] = []
        self._page = self._white()

    def _white(self) -> Dots:
        wide, tall = self._size
        return np.zeros((tall, wide), dtype=np.bool_)

    def setFont(self, name: str, size: float) -> None:  # noqa: N802 - as reportlab has it
        """Write in this font from now on."""
        self._font, self._points = name, size

    def rect(
        self, x: float, y: float, width: float, height: float, stroke: int = 1, fill: int = 0
    ) -> None:
        """Fill a rectangle: every dot whose middle it covers."""
        if stroke or not fill:
            raise ValueError("a label has filled rectangles only")
        scale = self._dpi / POINTS_PER_INCH
        left, right = (math.ceil(side * scale - 0.5) for side in (x, x + width))
        top, bottom = (math.ceil((self._height - side) * scale - 0.5) for side in (y + height, y))
        # What is thinner than a dot is drawn as one: a line may not vanish.
        right, bottom = max(right, left + 1), max(bottom, top + 1)
        self._page[max(top, 0) : max(bottom, 0), max(left, 0) : max(right, 0)] = True
        self._drawn = True

    def drawString(self, x: float, y: float, text: str) -> None:  # noqa: N802 - as reportlab
        """Write a text from a point on its baseline."""
        parts = -(-FINE_DPI // self._dpi)
        fine = self._dpi / POINTS_PER_INCH * parts
        room = self._points * ROOM
        wide = text_width(text, self._font, self._points)
        # The corner lies on whole dots, so that finer parts of dots can be counted together.
        left = math.floor((x - room) * self._dpi / POINTS_PER_INCH)
        top = math.floor((self._height - y - room) * self._dpi / POINTS_PER_INCH)
        across = math.ceil((wide + 2 * room) * self._dpi / POINTS_PER_INCH) + 1
        down = math.ceil(2 * room * self._dpi / POINTS_PER_INCH) + 1
        piece = Image.new("L", (across * parts, down * parts), 0)
        pen, font = ImageDraw.Draw(piece), _font(self._font, self._points * fine)
        base = (self._height - y) * fine - top * parts
        for char in text:
            # One by one, as far apart as in the PDF, which knows of no kerning.
            pen.text((x * fine - left * parts, base), char, fill=WHITE, font=font, anchor="ls")
            x += text_width(char, self._font, self._points)
        black = np.asarray(piece.reduce(parts)) >= MIDDLE
        self._blacken(black, left, top)

    def _blacken(self, black: Dots, left: int, top: int) -> None:
        tall, wide = self._page.shape
        down, across = black.shape
        rows = slice(max(-top, 0), max(min(tall - top, down), 0))
        columns = slice(max(-left, 0), max(min(wide - left, across), 0))
        part = black[rows, columns]
        at, side = max(top, 0), max(left, 0)
        self._page[at : at + part.shape[0], side : side + part.shape[1]] |= part
        self._drawn = True

    def showPage(self) -> None:  # noqa: N802 - as reportlab has it
        """End the page."""
        self.pages.append(self._page)
        self._page, self._drawn = self._white(), False

    def save(self) -> None:
        """End the last page, if anything is on it."""
        if self._drawn:
            self.showPage()


@cache
def _font(name: str, size: float) -> ImageFont.FreeTypeFont:
    """Return a font at a size in pixels."""
    return ImageFont.truetype(font_file(name), size, layout_engine=ImageFont.Layout.BASIC)


def as_png(page: Dots, dpi: int) -> bytes:
    """Return a page as a picture of black and white that knows its own size."""
    buffer = io.BytesIO()
    Image.fromarray(~page).save(buffer, "PNG", dpi=(dpi, dpi), optimize=True)
    return buffer.getvalue()
