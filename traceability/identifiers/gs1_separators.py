"""Separators that went missing or arrived as something else.

A variable element ends with the separator; a station that drops it makes one long lot of the lot
and what follows. Rules R-LS and R-LS2 of the project; what needs a separator: GS1 General
Specifications, section 7.8. Nothing is put right here: the second reading is offered.
"""

# ruff: noqa: PLR2004 - lengths and limits are the standard's own, named where they are used

from collections.abc import Iterator
from datetime import date
from typing import Final

from .gs1_dates import day_of, years_later
from .gs1_table import TABLE
from .reading import Element

__all__ = ["SWALLOWING", "lost_separator", "replaced_separators"]

SWALLOWING: Final = frozenset({"10", "21", "240", "250"})
"""The identifiers met on devices whose value may hide the next element."""
_DATES: Final = frozenset({"11", "13", "15", "16", "17"})
_FOLLOWERS: Final = ("10", "21", "30", "240", "250")

_SHORTEST_SUSPECT: Final = 9
"""One character, an identifier of two and a date of six."""

_YEARS_BACK: Final = 10
_YEARS_AHEAD: Final = 20

_STAND_INS: Final = (
    "<GS>", "[GS]", "{GS}", "(GS)", "<F8>", "{F8}", "<0x1d>", "<0x1D>", "\\x1d", "\\x1D", "\\u001d",
    "\\u001D", "\\u{1d}", "&#29;", "&#x1d;", "&#x1D;", "%1D", "%1d", "\\029", "~029", "~d029", "~1",
    "<FNC1>", "{FNC1}", "[FNC1]", "\\F", "^]", "^FNC1", "\u241d", "\u2194", "|", "^", "~", "#", "@",
    "{", "}", "`", "\\", "$", "\t", "\u001c", "\u001e", "\u001f", "\u00e8", "\u00dd", " ",
)  # fmt: skip
"""What scanners, drivers and label tools send or print in the separator's place, longer ones
first, for the shorter are parts of them. Common practice, no source."""


def lost_separator(
    identifier: str, value: str, *, today: date, gs_capable: bool
) -> tuple[Element, ...] | None:
    """Return the elements that `value`, the last of the data, may have been; None if no doubt.

    `identifier` is one of `SWALLOWING`; the value runs to the end of the data without a separator
    behind it. Its tail, after at least one character, has to be dates within reach and at most
    one element that varies; on a station that loses separators such an element alone is enough.
    """
    if gs_capable and len(value) < _SHORTEST_SUSPECT:
        return None
    longest = TABLE[identifier].parts[0].most
    for cut in range(1, min(longest, len(value) - 1) + 1):
        if value[cut : cut + 2] in _DATES:
            tail = _tail(value, cut, today)
            if tail:
                return ((identifier, value[:cut]), *tail)
    if gs_capable:
        return None
    for cut in range(1, min(longest, len(value) - 1) + 1):
        follower = _follower(value, cut, today)
        if follower:
            return ((identifier, value[:cut]), follower)
    return None


def replaced_separators(body: str) -> Iterator[str]:
    """Yield `body` with each kind of stand-in that it holds put back as the separator."""
    for stand_in in _STAND_INS:
        if stand_in in body:
            yield body.replace(stand_in, "\x1d")


def _tail(value: str, at: int, today: date) -> list[Element] | None:
    found: list[Element] = []
    while value[at : at + 2] in _DATES:
        written = value[at + 2 : at + 8]
        day = day_of(written, today) if len(written) == 6 and _digits(written) else None
        if day is None or not (
            years_later(today, -_YEARS_BACK) <= day <= years_later(today, _YEARS_AHEAD)
        ):
            return None
        found.append((value[at : at + 2], written))
        at += 8
        if at == len(value):
            return found
    follower = _follower(value, at, today)
    return [*found, follower] if follower else None


def _follower(value: str, at: int, today: date) -> Element | None:
    for identifier in _FOLLOWERS:
        if value.startswith(identifier, at):
            rest = value[at + len(identifier) :]
            if rest.isascii() and not TABLE[identifier].verify(rest, today):
                return identifier, rest
    return None


def _digits(text: str) -> bool:
    return text.isascii() and text.isdigit()
