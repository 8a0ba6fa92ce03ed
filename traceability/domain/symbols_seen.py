"""What a reader saw in a picture: symbols with their places, and the packs they stand on."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

__all__ = ["Corner", "PackSeen", "SymbolSeen", "What", "reading_order", "without_separator"]

Corner = tuple[int, int]
"""Dots to the right and down."""


class What(StrEnum):
    """What a symbol in a picture can be."""

    PART = "part"
    """A product's code, whole or half, known here or not."""
    OURS = "ours"
    """A card, badge or tag of ours: nothing to put into a circuit."""
    PERSON = "person"
    """A person's code; its text goes nowhere."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SymbolSeen:
    """One symbol of a picture."""

    number: int
    """As written beside its box, from 1."""
    text: str
    symbology_identifier: str
    corners: tuple[Corner, ...]
    suspect: bool = False
    """It may not be what is printed: a person compares."""

    @property
    def sent(self) -> str:
        """Return what a scanner would send of it: the symbology identifier, then the text."""
        return self.symbology_identifier + self.text


@dataclass(frozen=True, slots=True, kw_only=True)
class PackSeen:
    """One pack, or a symbol that is no pack's."""

    what: What
    symbols: tuple[SymbolSeen, ...]
    """All on it, by number."""
    scans: tuple[SymbolSeen, ...]
    """The fewest that say all there is, in the order in which they are to be scanned."""
    whole: bool = True
    """It names a product, and a lot or serial."""
    unclear: bool = False
    """A half label that may belong to more than one pack."""

    @property
    def suspect(self) -> bool:
        """Tell whether what is to be scanned of it was not surely read."""
        return any(each.suspect for each in self.scans)

    @property
    def key(self) -> str:
        """Return what tells this pack's code from others: the same text, the same key."""
        return "\n".join(each.text for each in self.scans)


def reading_order(boxes: Sequence[Sequence[Corner]]) -> list[int]:
    """Return the places of the boxes in the list as people read: row by row, from the left.

    A box belongs to a row while its middle lies above the lower edge of the row's first box.
    """
    tops = [min(y for _, y in box) for box in boxes]
    feet = [max(y for _, y in box) for box in boxes]
    lefts = [min(x for x, _ in box) for box in boxes]
    found: list[int] = []
    row: list[int] = []
    for each in sorted(range(len(boxes)), key=lambda at: (tops[at], lefts[at])):
        if row and (tops[each] + feet[each]) / 2 > feet[row[0]]:
            found += sorted(row, key=lambda at: lefts[at])
            row = []
        row.append(each)
    return found + sorted(row, key=lambda at: lefts[at])


def without_separator(text: str) -> str:
    """Return the text as people can see it."""
    return text.replace("\x1d", " ")
