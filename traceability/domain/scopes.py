"""Which lots and serials a statement means: exact text, texts alike, serial ranges.

Texts are compared exactly first. A looser key only *suggests*: what is alike waits for a named
person's ruling. Source: common practice, no source (rules settled in review); the lot's length and
its belonging to a GTIN: GS1 General Specifications, AI (10).
"""

import re
from enum import StrEnum
from typing import Final

__all__ = ["Match", "alike", "in_serial_range", "loose_key"]

_LOOKS_LIKE: Final = str.maketrans({"O": "0", "I": "1"})
_SEPARATORS: Final = re.compile(r"[\s\-./]+")
_PARTS: Final = re.compile(r"^(.*?)([0-9]+)$", re.DOTALL)


class Match(StrEnum):
    """How far a text belongs to what was asked."""

    IN = "in"
    OUT = "out"
    ALIKE = "alike"
    """A person has to look: only the looser comparison fits."""


def loose_key(text: str) -> str:
    """Return the looser comparison key of a lot or serial.

    Upper case; no blanks, hyphens, dots, slashes; O read as 0 and I as 1; then no leading zeros.
    """
    key = _SEPARATORS.sub("", text.upper()).translate(_LOOKS_LIKE)
    return key.lstrip("0")


def alike(one: str, other: str) -> Match:
    """Compare two texts of one maker's item: IN if equal to the letter, ALIKE by the looser key."""
    if one == other:
        return Match.IN
    return Match.ALIKE if loose_key(one) == loose_key(other) else Match.OUT


def in_serial_range(serial: str, first: str | None, last: str | None) -> Match:
    """Tell whether a serial lies between two, both included; either end may be open.

    The prefix is compared exactly, the number after it by value, so leading zeros do not matter
    for the range. A prefix that is only alike with the number inside, or a number followed by
    other characters, is ALIKE.
    """
    if first is None and last is None:
        return Match.IN
    ends = [_split(end) for end in (first, last) if end is not None]
    prefixes = {prefix for prefix, _ in ends}
    low = _split(first)[1] if first is not None else None
    high = _split(last)[1] if last is not None else None
    if len(prefixes) != 1:
        return Match.IN if serial in {first, last} else Match.ALIKE
    wanted = next(iter(prefixes))
    prefix, number = _split(serial)
    if number is None:
        return _with_tail(serial, wanted, low, high)
    inside = (low is None or number >= low) and (high is None or number <= high)
    if not inside:
        return Match.OUT
    if prefix == wanted:
        return Match.IN
    return Match.ALIKE if loose_key(prefix) == loose_key(wanted) else Match.OUT


def _split(serial: str) -> tuple[str, int | None]:
    found = _PARTS.match(serial)
    return (serial, None) if found is None else (found[1], int(found[2]))


def _with_tail(serial: str, wanted: str, low: int | None, high: int | None) -> Match:
    """A number followed by other characters: alike if the number lies inside."""
    found = re.match(r"^(.*?)([0-9]+)[^0-9]+$", serial, re.DOTALL)
    if found is None or loose_key(found[1]) != loose_key(wanted):
        return Match.OUT
    number = int(found[2])
    inside = (low is None or number >= low) and (high is None or number <= high)
    return Match.ALIKE if inside else Match.OUT
