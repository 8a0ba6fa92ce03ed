"""Every print is read back before it is offered: its symbols are decoded and compared."""

from contextlib import closing
from typing import Final

import numpy as np
import pypdfium2
import zxingcpp

from traceability.printing.barcodes import POINTS_PER_INCH, TYPES
from traceability.printing.paper import Printed
from traceability.printing.pdf import PlacedSymbol
from traceability.printing.raster import Dots

COARSE_DPI: Final = 100
PIXELS: Final = 4
"""A module is read at about this many pixels: a reader needs no more, and more take long."""


class DoesNotReadBack(Exception):
    """A print's own dots do not read as what was to be printed: it is not offered."""


def proved(made: Printed, title: str) -> Printed:
    """Return the print.

    Raises:
        DoesNotReadBack: a symbol of it does not read as what it was to say.
    """
    if not reads_back(made):
        raise DoesNotReadBack(title)
    return made


def proved_pdf(pdf: bytes, text: str, title: str) -> bytes:
    """Return a PDF that was not drawn on dots here, all of whose pages carry one matrix symbol.

    Each page is drawn by another library (pdfium), coarser than any printer does.

    Raises:
        DoesNotReadBack: a page on which that symbol does not read.
    """
    with closing(pypdfium2.PdfDocument(pdf)) as document:
        scale = COARSE_DPI / POINTS_PER_INCH
        pages = [page.render(scale=scale, grayscale=True).to_numpy() for page in document]
    for drawn in pages:
        found = zxingcpp.read_barcodes(
            np.ascontiguousarray(drawn.squeeze()),
            formats=zxingcpp.barcode_formats_from_str(TYPES["datamatrix"].zxing.name),
            text_mode=zxingcpp.TextMode.Plain,
        )
        if [each.text for each in found] != [text]:
            raise DoesNotReadBack(title)
    return pdf


def reads_back(made: Printed) -> bool:
    """Tell whether every symbol of a print reads as what it was to say.

    Looked at is the symbol with its quiet zone as it lies among the other dots of its page: what
    ran into it would be seen.
    """
    return all(
        read_symbol_of(made.pages[symbol.page], symbol) == symbol.text for symbol in made.symbols
    )


def read_symbol_of(page: Dots, symbol: PlacedSymbol) -> str | None:
    """Return what a reader finds where a symbol was drawn; None: nothing, or more than one."""
    type_ = TYPES[symbol.kind]
    there = np.where(page[symbol.around], 0, 255).astype(np.uint8)
    step, times = max(symbol.module // PIXELS, 1), max(PIXELS // symbol.module, 1)
    there = there[::step, ::step].repeat(times, axis=0).repeat(times, axis=1)
    found = zxingcpp.read_barcodes(
        np.pad(there, PIXELS, constant_values=255),
        formats=zxingcpp.barcode_formats_from_str(type_.zxing.name),
        text_mode=zxingcpp.TextMode.Plain,
    )
    if len(found) != 1 or found[0].symbology_identifier not in type_.identifiers:
        return None
    return found[0].text
