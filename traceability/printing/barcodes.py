"""Symbols as rectangles on the printer's own dots.

Every run of dark modules is a rectangle of whole dots, pulled in by a twentieth of a dot on every
side: so poppler, Ghostscript and a printer's own interpreter draw the very same dots (measured;
without it edges go grey, and a linear symbol is no longer read).
"""

from dataclasses import dataclass
from datetime import date
from typing import Final, Protocol

import numpy as np
import zxingcpp

from traceability.domain.tags import private_form
from traceability.identifiers.interpret import interpret
from traceability.identifiers.reading import Status

INSET_DOTS: Final = 0.05
SCALE: Final = 4
"""Pixels a module when a symbol is read back; fewer are read less surely."""
MM_PER_INCH: Final = 25.4
POINTS_PER_INCH: Final = 72.0
MIDDLE: Final = 128
"""Of black and white."""
TALL: Final = 15
"""Rows of a linear symbol when it is read back."""
ANY_DAY: Final = date(2000, 1, 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class SymbolType:
    """A symbology as this program writes it."""

    zxing: zxingcpp.BarcodeFormat
    identifiers: tuple[str, ...]
    """AIM symbology identifiers under which a reader must report it (ISO/IEC 15424)."""
    quiet: int
    """Modules that stay free on every side, or beside the bars of a linear one."""
    quiet_source: str
    least_mm: float
    """X-dimension: no label may ask for less."""
    linear: bool = False
    gs1: bool = False


TYPES: Final = {
    "datamatrix": SymbolType(
        zxing=zxingcpp.BarcodeFormat.DataMatrix,
        identifiers=("]d1",),
        quiet=1,
        quiet_source="ISO/IEC 16022, quiet zone (from memory)",
        least_mm=0.25,
    ),
    "gs1-datamatrix": SymbolType(
        zxing=zxingcpp.BarcodeFormat.DataMatrix,
        identifiers=("]d2",),
        quiet=1,
        quiet_source="GS1 General Specifications, section 5.6 (from memory)",
        least_mm=0.254,
        gs1=True,
    ),
    "qr": SymbolType(
        zxing=zxingcpp.BarcodeFormat.QRCode,
        identifiers=("]Q1", "]Q2"),
        quiet=4,
        quiet_source="ISO/IEC 18004, quiet zone (from memory)",
        least_mm=0.25,
    ),
    "code128": SymbolType(
        zxing=zxingcpp.BarcodeFormat.Code128,
        identifiers=("]C0",),
        quiet=10,
        quiet_source="ISO/IEC 15417, quiet zone (from memory)",
        least_mm=0.25,
        linear=True,
    ),
    "gs1-128": SymbolType(
        zxing=zxingcpp.BarcodeFormat.Code128,
        identifiers=("]C1",),
        quiet=10,
        quiet_source="GS1 General Specifications, section 5.4 (from memory)",
        least_mm=0.25,
        linear=True,
        gs1=True,
    ),
    "code39": SymbolType(
        zxing=zxingcpp.BarcodeFormat.Code39Std,
        identifiers=("]A0", "]A1"),
        quiet=10,
        quiet_source="ISO/IEC 16388, quiet zone (from memory)",
        least_mm=0.25,
        linear=True,
    ),
    "ean13": SymbolType(
        zxing=zxingcpp.BarcodeFormat.EAN13,
        identifiers=("]E0",),
        quiet=11,
        quiet_source="GS1 General Specifications, section 5.2 (11 X left, 7 X right; from memory)",
        least_mm=0.264,
        linear=True,
    ),
}
"""By the word that stands behind `kind` in a label's file."""


@dataclass(frozen=True, slots=True)
class Modules:
    """A symbol as rows of modules, dark is True; without its quiet zone. A linear one has one."""

    rows: tuple[tuple[bool, ...], ...]

    @property
    def width(self) -> int:
        """Modules across."""
        return len(self.rows[0])

    @property
    def side(self) -> int:
        """Modules along the longer side."""
        return max(self.width, len(self.rows))

    @property
    def linear(self) -> bool:
        """Whether it is made of bars."""
        return len(self.rows) == 1


class NotWritable(ValueError):
    """No symbol of this kind holds the text, or what was drawn does not read as the text."""


class Pen(Protocol):
    """What draws black rectangles: a PDF page, or a raster."""

    def rect(
        self, x: float, y: float, width: float, height: float, stroke: int = 1, fill: int = 0
    ) -> None:
        """Draw one, in points from the lower left corner of the page."""
        ...


def own_matrix(text: str) -> Modules:
    """Return a square Data Matrix of a text of ours, or of the GS1 key that carries it.

    Raises:
        NotWritable: the text does not fit any size, or does not read back.
    """
    return made_symbol("gs1-datamatrix" if private_form(text) else "datamatrix", text)


def made_symbol(kind: str, text: str, *, correction: str = "M") -> Modules:
    """Return the symbol of a text; a GS1 kind takes element strings, the separator as U+001D.

    Raises:
        NotWritable: the text does not fit any size, breaks its standard, or does not read back.
    """
    type_ = TYPES[kind]
    given = _bracketed(text) if type_.gs1 else text
    options: dict[str, object] = {"gs1": True} if type_.gs1 else {}
    if type_.zxing is zxingcpp.BarcodeFormat.DataMatrix:
        options["force_square"] = True  # else a long text becomes a rectangle of another standard
    if type_.zxing is zxingcpp.BarcodeFormat.QRCode:
        options["ec_level"] = correction
    try:
        made = zxingcpp.create_barcode(given, type_.zxing, **options)
    except ValueError as wrong:
        raise NotWritable(str(wrong)) from None
    image = zxingcpp.write_barcode_to_image(made, scale=1, add_hrt=False, add_quiet_zones=False)
    dark = np.asarray(image) < MIDDLE
    rows = np.flatnonzero(dark.any(axis=1))
    columns = np.flatnonzero(dark.any(axis=0))
    cut = dark[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    if type_.linear:
        cut = _bars(cut)
    if _read_back(cut, type_) != text:
        raise NotWritable("the symbol does not read as what was to be written")
    return Modules(tuple(tuple(bool(module) for module in row) for row in cut))


def _bracketed(text: str) -> str:
    """Return element strings with their identifiers in brackets, as the writer wants them."""
    read = interpret(text, symbology_identifier="]d2", today=ANY_DAY)
    if read.status is not Status.OK:
        raise NotWritable("these element strings break the standard")
    return "".join(f"[{identifier}]{value}" for identifier, value in read.elements)


def _bars(
    cut: "np.ndarray[tuple[int, ...], np.dtype[np.bool_]]",
) -> "np.ndarray[tuple[int, ...], np.dtype[np.bool_]]":
    """Return one row, one value a module: the writer draws some of them twice as wide."""
    row = cut[0]
    edges = np.flatnonzero(np.diff(row.astype(np.int8))) + 1
    runs = np.diff([0, *edges, row.size])
    module = int(np.gcd.reduce(runs))
    dark = np.arange(runs.size) % 2 == 0
    return np.repeat(dark, runs // module)[None, :]


def _read_back(
    dark: "np.ndarray[tuple[int, ...], np.dtype[np.bool_]]", type_: SymbolType
) -> str | None:
    """Return what the modules say to a reader, before they are drawn."""
    tall = np.repeat(dark, TALL, axis=0) if type_.linear else dark
    free = np.pad(tall, type_.quiet)
    pixels = np.where(np.kron(free, np.ones((SCALE, SCALE))) > 0, 0, 255)
    found = zxingcpp.read_barcodes(
        pixels.astype(np.uint8),
        formats=zxingcpp.barcode_formats_from_str(type_.zxing.name),
        text_mode=zxingcpp.TextMode.Plain,
        is_pure=not type_.linear,
    )
    if len(found) != 1 or found[0].symbology_identifier not in type_.identifiers:
        return None
    return found[0].text


def dots(millimetres: float, dpi: int) -> int:
    """Return the nearest whole number of printer dots."""
    return round(millimetres * dpi / MM_PER_INCH)


def draw_modules(
    pen: Pen,
    modules: Modules,
    *,
    left: int,
    top: int,
    module: int,
    tall: int,
    dpi: int,
    height: float,
) -> None:
    """Draw the symbol with its upper left corner at whole dots from the page's upper left.

    `left`, `top`, `module` (the X-dimension) and `tall` (of one row) are dots; `height` is the
    page's, in points, for PDF counts from below.
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
            high = (tall - 2 * INSET_DOTS) * point
            y = height - (top + (row_no + 1) * tall - INSET_DOTS) * point
            pen.rect(x, y, wide, high, stroke=0, fill=1)
            column = end
