"""The symbols in a picture: their exact texts, where they are, and how sure the reading is.

Calls and formats are those that were measured: other formats invent short numbers or change
characters (a Code 39 read as "full ASCII" loses the "+" of a HIBC label).
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date
from typing import Final

import numpy as np
import zxingcpp
from PIL import Image

from traceability.identifiers.interpret import interpret
from traceability.imaging.photo import WHITE, Grey, upright

FORMATS: Final = zxingcpp.barcode_formats_from_str(
    "DataMatrix,QRCode,Code128,Code39Std,EAN13,ITF14"
)
LINEAR: Final = frozenset({"]E", "]I", "]C", "]A"})
"""Symbology identifiers, two characters, of symbols made of bars (ISO/IEC 15424)."""
ITF_DIGITS: Final = 14
"""The reader's filter lets shorter ones through, cut out of longer symbols."""
WRONG_ITF: Final = "]I0"
"""An ITF whose last digit is no check digit of the others, so no ITF-14 as printed on cartons."""
ANY_DAY: Final = date(2000, 1, 1)
"""Check digits do not depend on the day."""
ENLARGED: Final = 2
MOST_PIXELS: Final = 12_000_000
"""Up to these many pixels a picture is looked at again twice its size; a larger one half."""

Point = tuple[int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadSymbol:
    """One symbol that was read."""

    text: str
    """As read, the separator as U+001D."""
    symbology_identifier: str
    box: tuple[Point, Point, Point, Point]
    """Upper left, upper right, lower right, lower left corner, as the symbol stands, without its
    quiet zone; pixels of the upright picture, right and down."""
    suspect: bool
    """It may not be what was printed: a person must compare."""

    @property
    def middle(self) -> tuple[float, float]:
        """Return the middle of the symbol."""
        return sum(x for x, _ in self.box) / 4, sum(y for _, y in self.box) / 4

    def covers(self, point: tuple[float, float]) -> bool:
        """Tell whether a point lies within the symbol, however it lies."""
        sides = zip(self.box, (*self.box[1:], self.box[0]), strict=True)
        turns = [
            (x2 - x1) * (point[1] - y1) - (y2 - y1) * (point[0] - x1)
            for (x1, y1), (x2, y2) in sides
        ]
        return all(turn >= 0 for turn in turns) or all(turn <= 0 for turn in turns)


def read_symbols(data: bytes) -> tuple[ReadSymbol, ...]:
    """Return the symbols in the picture, from top to bottom.

    Raises:
        UnreadablePicture: the bytes are no picture.
    """
    return read_picture(upright(data))


def read_picture(picture: Grey) -> tuple[ReadSymbol, ...]:
    """Return the symbols among these pixels, from top to bottom.

    Suspect is a check digit or character that does not fit its text, and a linear symbol that only
    one of two looks saw: such readings were wrong now and then, with a right check digit.
    """
    found: list[ReadSymbol] = []
    # The reader turns matrix symbols to dark on light by itself, linear ones never.
    for look in (picture, WHITE - picture):
        _join(found, _looked(look, 1.0))
    if any(_is_linear(symbol) for symbol in found):
        _join(found, _looked(*_at_other_size(picture)))
        _join(found, _looked(*_at_other_size(WHITE - picture)))
    judged = (replace(symbol, suspect=symbol.suspect or _doubted(symbol)) for symbol in found)
    return tuple(sorted(judged, key=lambda symbol: (symbol.middle[1], symbol.middle[0])))


def _looked(picture: Grey, scale: float) -> Iterator[ReadSymbol]:
    """Yield what one look sees, in the coordinates of the picture before it was scaled."""
    if 0 in picture.shape:
        return
    for read in zxingcpp.read_barcodes(
        picture,
        formats=FORMATS,
        text_mode=zxingcpp.TextMode.Plain,
        try_rotate=True,
        try_downscale=True,
        try_invert=True,
        binarizer=zxingcpp.Binarizer.LocalAverage,
        is_pure=False,
        return_errors=False,
    ):
        name, place = read.symbology_identifier, read.position
        if name.startswith("]I") and len(read.text) != ITF_DIGITS:
            continue
        corners = (place.top_left, place.top_right, place.bottom_right, place.bottom_left)
        first, second, third, fourth = (
            (round(corner.x / scale), round(corner.y / scale)) for corner in corners
        )
        yield ReadSymbol(
            text=read.text,
            symbology_identifier=name,
            box=(first, second, third, fourth),
            suspect=name[:2] in LINEAR,
        )


def _join(found: list[ReadSymbol], seen: Iterator[ReadSymbol]) -> None:
    """Add what is new; what was seen before, in the same place, is confirmed by that."""
    for symbol in list(seen):
        for at, other in enumerate(found):
            if _same(symbol, other):
                found[at] = replace(other, suspect=False)
                break
        else:
            found.append(symbol)


def _same(one: ReadSymbol, other: ReadSymbol) -> bool:
    """Tell whether two looks saw one thing. Two packs of one lot carry one text in two places."""
    alike = (one.text, one.symbology_identifier) == (other.text, other.symbology_identifier)
    return alike and (other.covers(one.middle) or one.covers(other.middle))


def _is_linear(symbol: ReadSymbol) -> bool:
    return symbol.symbology_identifier[:2] in LINEAR


def _doubted(symbol: ReadSymbol) -> bool:
    """Tell whether a check fails. What else is wrong with a label is no reason to read it again."""
    if symbol.symbology_identifier == WRONG_ITF:
        return True
    read = interpret(symbol.text, symbology_identifier=symbol.symbology_identifier, today=ANY_DAY)
    return any(fault.code == "bad-check-digit" for fault in read.faults)


def _at_other_size(picture: Grey) -> tuple[Grey, float]:
    """Return the picture larger or, where that would be too much, smaller; and by how much."""
    scale = float(ENLARGED) if picture.size * ENLARGED**2 <= MOST_PIXELS else 1 / ENLARGED
    tall, wide = (max(round(side * scale), 1) for side in picture.shape)
    other = Image.fromarray(picture).resize((wide, tall), Image.Resampling.BICUBIC)
    return np.asarray(other, dtype=np.uint8), scale
