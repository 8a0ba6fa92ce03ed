"""Every print is read back before it is offered: its symbols are decoded and compared."""

from typing import Final

import numpy as np
import zxingcpp

from traceability.printing.barcodes import TYPES
from traceability.printing.paper import Printed
from traceability.printing.pdf import PlacedSymbol
from traceability.printing.raster import Dots

PIXELS: Final = 4
"""A module is read at about this many pixels: a reader needs no more, and more take long."""


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
