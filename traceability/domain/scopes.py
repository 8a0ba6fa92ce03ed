"""Which lots and serials a statement means: exact text, texts alike, serial ranges, dates.

Texts are compared exactly first. A looser key only *suggests*: what is alike waits for a named
person's ruling. Source: common practice, no source (rules settled in review); the lot's length and
its belonging to a GTIN: GS1 General Specifications, AI (10).
"""

import re
from collections.abc import Callable
from datetime import date
from enum import StrEnum
from functools import lru_cache
from typing import Final

__all__ = [
    "Match",
    "alike",
    "in_dates",
    "in_serial_range",
    "loose_key",
    "serial_parts",
    "shipped_in",
]

_LOOKS_LIKE: Final = str.maketrans({"O": "0", "I": "1"})
_SEPARATORS: Final = re.compile(r"[\s\-./\\]+")
_PARTS: Final = re.compile(r"(.*?)([0-9]+)", re.DOTALL)


class Match(StrEnum):
    """How far a text belongs to what was asked."""

    IN = "in"
    OUT = "out"
    ALIKE = "alike"
    """A person has to look: only the looser comparison fits."""


def _loose(text: str) -> str:
    """Return the looser text, leading zeros kept."""
    return _SEPARATORS.sub("", text.upper()).translate(_LOOKS_LIKE)


@lru_cache(maxsize=1 << 16)
def loose_key(text: str) -> str:
    """Return the looser comparison key of a lot or serial.

    Upper case; no blanks, hyphens, dots, slashes; O read as 0 and I as 1; then no leading zeros.
    """
    return _loose(text).lstrip("0")


def alike(one: str, other: str) -> Match:
    """Compare two texts of one maker's item: IN if equal to the letter, ALIKE by the looser key."""
    if one == other:
        return Match.IN
    return Match.ALIKE if loose_key(one) == loose_key(other) else Match.OUT


def in_serial_range(serial: str, first: str | None, last: str | None) -> Match:
    """Tell whether a serial lies between two, both included; either end may be open.

    The prefix is compared exactly, the number after it by value, so leading zeros do not matter
    for the range. A prefix that is only alike with the number inside is ALIKE, and so is a number
    followed by other characters: nobody but the maker knows what the tail means. Ends that are
    unlike each other in prefix state no range that could be reckoned with: everything but the
    ends themselves is ALIKE.
    """
    if first is None and last is None:
        return Match.IN
    if serial in {first, last}:
        return Match.IN
    low, high = (None if end is None else serial_parts(end) for end in (first, last))
    prefixes = {end[0] for end in (low, high) if end is not None}
    numbered = all(end is None or end[1] is not None for end in (low, high))
    if len(prefixes) != 1 or not numbered:
        return (
            Match.ALIKE
            if len(prefixes) > 1 or loose_key(serial) in _keys(first, last)
            else (Match.OUT)
        )
    wanted = prefixes.pop()
    bottom = None if low is None else low[1]
    top = None if high is None else high[1]

    def inside(digits: str) -> bool:
        number = int(digits)
        return (bottom is None or number >= bottom) and (top is None or number <= top)

    rest = serial.removeprefix(wanted) if serial.startswith(wanted) else ""
    exact = re.match(r"[0-9]+", rest)
    if exact is not None:
        if exact.end() < len(rest):
            return Match.ALIKE
        return Match.IN if inside(rest) else Match.OUT
    return _loosely(serial, wanted, inside)


def _keys(*ends: str | None) -> set[str]:
    return {loose_key(end) for end in ends if end is not None}


def serial_parts(serial: str) -> tuple[str, int | None]:
    """Return prefix and trailing number; None where it ends in no digit."""
    found = _PARTS.fullmatch(serial)
    return (serial, None) if found is None else (found[1], int(found[2]))


def _loosely(serial: str, wanted: str, inside: Callable[[str], bool]) -> Match:
    """Compare with a prefix that is not there to the letter."""
    text, prefix = _loose(serial), _loose(wanted)
    if not text.startswith(prefix):
        return Match.OUT
    digits = re.match(r"[0-9]+", text.removeprefix(prefix))
    return Match.ALIKE if digits is not None and inside(digits[0]) else Match.OUT


def in_dates(day: date | None, first: date | None, last: date | None) -> Match | None:
    """Tell whether a printed date lies between two, both included; None: the date is not known."""
    if day is None:
        return None
    inside = (first is None or first <= day) and (last is None or day <= last)
    return Match.IN if inside else Match.OUT


def shipped_in(
    shipped: date | None, received: date, first: date | None, last: date | None
) -> Match | None:
    """Tell whether a delivery left its maker between two dates; None: that is not known.

    Our receipt is not the maker's dispatch. What was here before the window opened was sent before
    it; what came later may have been sent at any time, unless the delivery note says when.
    """
    if shipped is not None:
        return in_dates(shipped, first, last)
    return Match.OUT if first is not None and received < first else None
