"""Symbols on a picture, with their places, as the reader gives them: nothing is guessed.

The calls follow what was measured on 157 pictures: plain text keeps the separator (U+001D),
standard Code 39 keeps the "+" of HIBC, and light bars on dark need a second look at the negative.
"""

from dataclasses import dataclass
from datetime import date
from typing import Final

import numpy as np
import zxingcpp

from traceability.identifiers.checks import gs1_check
from traceability.identifiers.interpret import interpret
from traceability.imaging.photo import Grey, upright

FORMATS: Final = zxingcpp.barcode_formats_from_str(
    "DataMatrix,QRCode,Code128,Code39Std,EAN13,ITF14"
)
ITF_DIGITS: Final = 14
"""The reader also finds shorter ones, which are pieces cut out of longer symbols (measured)."""
ANY_DAY: Final = date(2000, 1, 1)
"""Check digits do not depend on the day."""

Point = tuple[int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadSymbol:
    """One symbol that was read."""

    text: str
    """As encoded; the separator is U+001D. A leading FNC1 is told by the identifier alone."""
    symbology_identifier: str
    """Of ISO/IEC 15424: "]d2" is GS1 Data Matrix."""
    box: tuple[Point, Point, Point, Point]
    """Upper left, upper right, lower right, lower left of the symbol itself, however it lies; dots
    of the upright picture from its upper left corner."""
    suspect: bool
    """A check digit or character does not fit: a person compares with the print."""

    def covers(self, point: tuple[float, float]) -> bool:
        """Tell whether a point lies within the symbol."""
        sides = zip(self.box, (*self.box[1:], self.box[0]), strict=True)
        turns = [
            (x2 - x1) * (point[1] - y1) - (y2 - y1) * (point[0] - x1)
            for (x1, y1), (x2, y2) in sides
        ]
        return all(turn >= 0 for turn in turns) or all(turn <= 0 for turn in turns)

    @property
    def middle(self) -> tuple[float, float]:
        """Return the middle of the symbol."""
        return sum(x for x, _ in self.box) / 4, sum(y for _, y in self.box) / 4


def read_symbols(data: bytes) -> list[ReadSymbol]:
    """Return each symbol on the picture, from top to bottom.

    Two packs of one lot carry the same text and are two symbols.

    Raises:
        UnreadablePicture: the file is no picture, damaged or too large.
    """
    return read_picture(upright(data))


def read_picture(picture: Grey) -> list[ReadSymbol]:
    """Return each symbol on an upright grey picture, from top to bottom."""
    found = _pass(picture)
    # Light on dark: the reader turns matrix symbols by itself, bars never.
    found += [
        each
        for each in _pass(255 - picture)
        if not any(known.text == each.text and known.covers(each.middle) for known in found)
    ]
    return sorted(found, key=lambda each: (each.middle[1], each.middle[0]))


def _pass(picture: Grey) -> list[ReadSymbol]:
    read = zxingcpp.read_barcodes(
        np.ascontiguousarray(picture),
        formats=FORMATS,
        text_mode=zxingcpp.TextMode.Plain,
        try_rotate=True,
        try_downscale=True,
        try_invert=True,
        binarizer=zxingcpp.Binarizer.LocalAverage,
        return_errors=False,
    )
    return [_symbol(each) for each in read if _is_whole(each)]


def _is_whole(read: zxingcpp.Barcode) -> bool:
    bars_in_pairs = read.symbology_identifier.startswith("]I")
    return bool(read.text) and (not bars_in_pairs or len(read.text) == ITF_DIGITS)


def _symbol(read: zxingcpp.Barcode) -> ReadSymbol:
    at = read.position
    corners = (at.top_left, at.top_right, at.bottom_right, at.bottom_left)
    first, second, third, fourth = ((corner.x, corner.y) for corner in corners)
    identifier = read.symbology_identifier
    said = interpret(read.text, symbology_identifier=identifier, today=ANY_DAY)
    return ReadSymbol(
        text=read.text,
        symbology_identifier=identifier,
        box=(first, second, third, fourth),
        suspect=any(fault.code == "bad-check-digit" for fault in said.faults)
        or not _itf_holds(read.text, identifier),
    )


def _itf_holds(text: str, identifier: str) -> bool:
    """Return False for an ITF-14 whose check digit is wrong; the reader calls those "]I0"."""
    if not identifier.startswith("]I"):
        return True
    return gs1_check(text[:-1]) == text[-1]
