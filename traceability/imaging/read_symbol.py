"""What reading a picture gives back; loads no library, so that it is cheap to know."""

from dataclasses import dataclass
from typing import Final

LARGEST_BYTES: Final = 64_000_000
"""Of a file with a picture or pages; more is not even read."""


Point = tuple[int, int]
"""Dots to the right and down."""


class UnreadablePicture(ValueError):
    """The bytes cannot be read as a picture; nothing of them was kept.

    `code`, without wording: "empty-file", "not-a-picture" (no format that is read here),
    "broken-picture" (it ends too early or is damaged), "picture-too-large", "too-many-pages",
    "locked-pages" (a PDF that asks for a secret), "took-too-long" (the reader was ended),
    "reader-ended" (it ended by itself). `facts`: `bytes`, `width` and `height`, `pages`,
    `seconds`, where they are known.
    """

    def __init__(self, code: str, **facts: int) -> None:
        """Keep code and facts apart from any wording."""
        super().__init__(code, facts)
        self.code, self.facts = code, facts


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadSymbol:
    """One symbol that was read."""

    text: str
    """As read, the separator as U+001D."""
    symbology_identifier: str
    box: tuple[Point, Point, Point, Point]
    """Upper left, upper right, lower right, lower left corner, as the symbol stands, without its
    quiet zone; dots of the upright picture, right and down."""
    suspect: bool
    """It may not be what was printed: a person must compare."""
    way: str = "whole"
    """How it was looked at when it was first seen, for those who work on the reader."""
    page: int = 1
    """Of a PDF or a scan of several pages, the first being 1."""

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
