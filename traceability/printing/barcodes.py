"""Symbols as rectangles on the printer's own dots.

Every run of dark modules is a rectangle of whole dots, pulled in by a twentieth of a dot on every
side: so poppler, Ghostscript and a printer's own interpreter draw the very same dots (measured;
without it edges go grey, and a linear symbol is no longer read).
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
import zxingcpp
from reportlab.pdfgen.canvas import Canvas

INSET_DOTS: Final = 0.05
SCALE: Final = 4
"""Pixels a module when a symbol is read back; fewer are read less surely."""
MM_PER_INCH: Final = 25.4
POINTS_PER_INCH: Final = 72.0


@dataclass(frozen=True, slots=True)
class Modules:
    """A matrix symbol as rows of modules, dark is True; without its quiet zone."""

    rows: tuple[tuple[bool, ...], ...]

    @property
    def side(self) -> int:
        """Modules along one side."""
        return len(self.rows)


class NotWritable(ValueError):
    """No symbol of this kind holds the text, or what was drawn does not read as the text."""


def data_matrix(text: str) -> Modules:
    """Return a square Data Matrix of the text (ISO/IEC 16022, ECC 200).

    Raises:
        NotWritable: the text does not fit any size, or does not read back.
    """
    return _matrix(text, zxingcpp.BarcodeFormat.DataMatrix, force_square=True)


def qr_code(text: str) -> Modules:
    """Return a QR Code of the text, error correction level M (ISO/IEC 18004).

    Raises:
        NotWritable: as for a Data Matrix.
    """
    return _matrix(text, zxingcpp.BarcodeFormat.QRCode, ec_level="M")


def _matrix(text: str, kind: zxingcpp.BarcodeFormat, **options: object) -> Modules:
    try:
        made = zxingcpp.create_barcode(text, kind, **options)
    except ValueError as wrong:
        raise NotWritable(str(wrong)) from None
    image = zxingcpp.write_barcode_to_image(made, scale=1, add_hrt=False, add_quiet_zones=False)
    dark = np.asarray(image) < 128  # noqa: PLR2004 - the middle of black and white
    rows = np.flatnonzero(dark.any(axis=1))
    columns = np.flatnonzero(dark.any(axis=0))
    cut = dark[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    if _read_back(cut, kind) != text:
        raise NotWritable("the symbol does not read as what was to be written")
    return Modules(tuple(tuple(bool(module) for module in row) for row in cut))


def _read_back(
    dark: "np.ndarray[tuple[int, ...], np.dtype[np.bool_]]", kind: zxingcpp.BarcodeFormat
) -> str | None:
    """Return what the modules say to a reader, before they are drawn."""
    pixels = np.where(np.kron(np.pad(dark, 4), np.ones((SCALE, SCALE))) > 0, 0, 255)
    found = zxingcpp.read_barcodes(
        pixels.astype(np.uint8),
        formats=zxingcpp.barcode_formats_from_str(kind.name),
        text_mode=zxingcpp.TextMode.Plain,
        is_pure=True,
    )
    return found[0].text if len(found) == 1 else None


def dots(millimetres: float, dpi: int) -> int:
    """Return the nearest whole number of printer dots."""
    return round(millimetres * dpi / MM_PER_INCH)


def draw_modules(
    canvas: Canvas, modules: Modules, *, left: int, top: int, module: int, dpi: int, height: float
) -> None:
    """Draw the symbol with its upper left corner at whole dots from the page's upper left.

    `left`, `top` and `module` (the X-dimension) are dots; `height` is the page's, in points, for
    PDF counts from below.
    """
    point = POINTS_PER_INCH / dpi
    for row_no, row in enumerate(modules.rows):
        column = 0
        while column < len(row):
            if not row[column]:
                column += 1
                continue
            end = column
            while end < len(row) and row[end]:
                end += 1
            x = (left + column * module + INSET_DOTS) * point
            wide = ((end - column) * module - 2 * INSET_DOTS) * point
            tall = (module - 2 * INSET_DOTS) * point
            y = height - (top + (row_no + 1) * module - INSET_DOTS) * point
            canvas.rect(x, y, wide, tall, stroke=0, fill=1)
            column = end
