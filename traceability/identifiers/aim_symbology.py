"""Symbology identifiers: "]" + code letter + modifier, which a scanner may send before the data.

Source: ISO/IEC 15424:2008, table 1, and GS1 General Specifications, section 5.1; the modifiers of
each letter from memory.
"""

# ruff: noqa: PLR2004 - lengths and limits are the standard's own, named where they are used

from enum import Enum, auto
from typing import Final

__all__ = ["Carrier", "carrier_of", "in_front"]


class Carrier(Enum):
    """How the data behind a symbology identifier are to be read."""

    NOT_SENT = auto()
    GS1 = auto()
    """Element strings; the symbol began with the function character FNC1."""
    RETAIL = auto()
    """]E0 and ]E3: EAN-13, UPC-A, UPC-E, with an add-on under ]E3."""
    RETAIL_8 = auto()
    """]E4: EAN-8."""
    ITF_CHECKED = auto()
    """]I1: interleaved 2 of 5 whose check digit the scanner has verified."""
    CODE_39 = auto()
    PLAIN = auto()
    """Any other known symbology: never read as element strings."""
    UNKNOWN = auto()
    """No such identifier, or one that is most likely another typed with Caps Lock on."""


_GS1: Final = ("]C1", "]e0", "]e1", "]e2", "]d2", "]d5", "]Q3", "]Q4", "]J1", "]z1")

_MODIFIERS: Final = {
    "A": "0123457",
    "B": "0124",
    "C": "0124",
    "E": "01234",
    "F": "0124",
    "G": "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklm",
    "H": "013",
    "I": "013",
    "J": "0123456",
    "K": "0124",
    "L": "0123456",
    "M": "01",
    "N": "0",
    "O": "0145",
    "P": "0",
    "Q": "0123456",
    "R": "013",
    "S": "0",
    "T": "0124",
    "U": "0123",
    "X": "0123456789ABCDEF",
    "Z": "0123456789",
    "d": "0123456",
    "e": "0123",
    "g": "0123456789",
    "h": "0123456789",
    "o": "0123",
    "p": "0123456789",
    "s": "0123456789",
    "z": "0123456789ABC",
}
"""Left out: "D" and "c". Code One and channel code are met on no pack; ]D2 and ]c1 are far more
likely ]d2 and ]C1 typed with Caps Lock on. Own choice."""


def _table() -> dict[str, Carrier]:
    known = {
        f"]{letter}{modifier}": Carrier.CODE_39 if letter == "A" else Carrier.PLAIN
        for letter, modifiers in _MODIFIERS.items()
        for modifier in modifiers
    }
    known |= dict.fromkeys(_GS1, Carrier.GS1)
    known |= {"]E0": Carrier.RETAIL, "]E3": Carrier.RETAIL, "]E4": Carrier.RETAIL_8}
    known["]I1"] = Carrier.ITF_CHECKED
    return known


_CARRIERS: Final = _table()


def carrier_of(symbology_identifier: str | None) -> Carrier:
    """Return how to read what stands behind `symbology_identifier` (None or "": none was sent)."""
    if not symbology_identifier:
        return Carrier.NOT_SENT
    return _CARRIERS.get(symbology_identifier, Carrier.UNKNOWN)


def in_front(text: str) -> str | None:
    """Return the symbology identifier that `text` itself begins with, None if it does not.

    Any "]", letter, letter or digit counts, known or not: no supported standard's data can
    begin with "]".
    """
    head = text[:3]
    if len(head) == 3 and head[0] == "]" and head.isascii() and head[1].isalpha():
        return head if head[2].isalnum() else None
    return None
