"""Every print is read back before it is offered: its dots are decoded and compared."""

from collections.abc import Iterable
from typing import Final

import numpy as np
import zxingcpp

from traceability.printing.barcodes import TYPES
from traceability.printing.raster import Dots

FORMATS: Final = zxingcpp.barcode_formats_from_str(
    ",".join(sorted({type_.zxing.name for type_ in TYPES.values()}))
)
LEAST_PIXELS: Final = 2_000
"""Dots along the longer side below which a page is looked at twice as large as well."""


def read_back(page: Dots) -> frozenset[str]:
    """Return the texts of all symbols that a reader finds among these dots."""
    looks = [page]
    if max(page.shape) < LEAST_PIXELS:
        looks.append(page.repeat(2, axis=0).repeat(2, axis=1))
    return frozenset(
        found.text
        for look in looks
        for found in zxingcpp.read_barcodes(
            np.where(look, 0, 255).astype(np.uint8),
            formats=FORMATS,
            text_mode=zxingcpp.TextMode.Plain,
        )
    )


def reads_as(page: Dots, texts: Iterable[str]) -> bool:
    """Tell whether the page reads as these texts, each of them and no other."""
    return read_back(page) == frozenset(texts)
