"""Pages of labels, from one drawing: a PDF in exact millimetres, and the printer's own dots."""

import io
import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from reportlab.pdfgen.canvas import Canvas

from traceability.printing.barcodes import POINTS_PER_INCH, dots
from traceability.printing.fonts import register_fonts
from traceability.printing.pdf import PlacedSymbol, Sheet
from traceability.printing.raster import Dots, RasterPage

HAIR: Final = 0.1
"""Of a hundredth of a point: a page of exactly whole dots is made a hundredth smaller as well, or
one computer's rounding makes it a row too many (measured with poppler: 84.96 pt at 300 dpi)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Printed:
    """A print in both forms."""

    pdf: bytes
    pages: tuple[Dots, ...]
    """The same pages as dots, True is black: what a preview shows and a label printer gets."""
    dpi: int
    symbols: tuple[PlacedSymbol, ...]
    plain: bool = False
    """It is a plain text tag, because something did not fit or did not read back."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RasterSheet:
    """A sheet whose pages are dots."""

    sheet: Sheet
    paper: RasterPage


def print_sheets(
    width_mm: float, height_mm: float, dpi: int, draw: Callable[[Sheet], None], *, title: str
) -> Printed:
    """Draw the same pages twice: as a PDF, and as the printer's own dots."""
    as_dots = raster_sheet(width_mm, height_mm, dpi)
    draw(as_dots.sheet)
    sheet = new_sheet(width_mm, height_mm, dpi, title=title)
    draw(sheet)
    return Printed(
        pdf=sheet.finished(),
        pages=tuple(as_dots.paper.pages),
        dpi=dpi,
        symbols=tuple(sheet.symbols),
    )


def raster_sheet(width_mm: float, height_mm: float, dpi: int) -> RasterSheet:
    """Return an empty page of dots, exactly as large as the PDF's."""
    register_fonts()
    wide, tall = _whole_dots(width_mm, height_mm, dpi)
    paper = RasterPage(wide, tall, dpi)
    return RasterSheet(
        sheet=Sheet(canvas=paper, height=tall, dpi=dpi, finish=lambda: b""), paper=paper
    )


def new_sheet(width_mm: float, height_mm: float, dpi: int, *, title: str) -> Sheet:
    """Return an empty page of whole printer dots, rounded down to a hundredth of a point.

    Rounded up, a rasteriser adds a row of dots and every edge goes grey (measured). Nothing in
    the file depends on the moment it is made: the same facts give the same bytes.
    """
    register_fonts()
    wide, tall = _whole_dots(width_mm, height_mm, dpi)
    buffer = io.BytesIO()
    canvas = Canvas(buffer, pagesize=(wide, tall), invariant=1, pageCompression=1)
    canvas.setTitle(title)
    canvas.setCreator("Circuit Traceability")
    # A viewer that honours it prints at 100 %: symbols have a size that scanners rely on.
    canvas.setViewerPreference("PrintScaling", "None")

    def finish() -> bytes:
        canvas.save()
        return buffer.getvalue()

    return Sheet(canvas=canvas, height=tall, dpi=dpi, finish=finish)


def _whole_dots(width_mm: float, height_mm: float, dpi: int) -> tuple[float, float]:
    wide, tall = (
        math.floor(dots(side, dpi) * POINTS_PER_INCH / dpi * 100 - HAIR) / 100
        for side in (width_mm, height_mm)
    )
    return wide, tall
