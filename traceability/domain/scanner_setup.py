"""What a keyboard scanner still has to be set to, told by the symbols of the acceptance sheet.

The sheet's texts are known, so what came in their stead says what was changed on the way: the
separator (GS) not sent, no symbology identifier in front, capitals turned, or another keyboard
layout in the scanner than the one that pages here read keys by: US, by their place on the keyboard.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from typing import Final

from traceability.domain.tags import without_aim
from traceability.domain.trials import TRIALS
from traceability.identifiers.gs1 import GS
from traceability.identifiers.wedge import LAYOUTS

__all__ = ["FAST_MS", "Point", "ScannerRead", "Told", "judge_scanner"]

FAST_MS: Final = 35
"""Median milliseconds between keys below which keys are a scanner's (`static/scan_field.js`)."""

US: Final = "us"
IDENTIFIER: Final = (3, 2)
"""Characters of a symbology identifier, and how many come where the bracket has no key of its own
(ISO/IEC 15424: "]", a letter, a digit; from memory)."""
ACCENT: Final = {
    "dead grave": "`",
    "dead acute": "\u00b4",
    "dead circumflex": "^",
    "dead diaeresis": "\u00a8",
}
_ROWS: Final = [(kind, text) for kind, text, _ in TRIALS]


class Point(StrEnum):
    """What is looked at, in the order of the page."""

    LAYOUT = "layout"
    CASE = "case"
    SEPARATOR = "separator"
    PREFIX = "prefix"
    ENDING = "ending"
    SPEED = "speed"


@dataclass(frozen=True, slots=True, kw_only=True)
class ScannerRead:
    """One read, as the browser saw its keys."""

    text: str
    ended_by_key: bool
    """Enter or Tab came behind it; else it ended by silence."""
    gap_ms: float | None
    """Median time between keys; None where it is not known."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What one read told."""

    kind: str
    """Which kind of symbol of the sheet it was; empty: none of them."""
    symbol: int = 0
    """Its number on the sheet, from 1."""
    right: frozenset[Point] = frozenset()
    wrong: frozenset[Point] = frozenset()
    layouts: tuple[str, ...] = ()
    """Layouts, one of which the scanner is set to, where another than US explains what came."""


def judge_scanner(read: ScannerRead) -> Told:
    """Return which symbol it was, and what is right and wrong; points it says nothing of in none.

    >>> judge_scanner(ScannerRead(text="]e09521234000013", ended_by_key=True, gap_ms=4)).kind
    ''
    >>> told = judge_scanner(ScannerRead(text="]E09521234000013", ended_by_key=True, gap_ms=4))
    >>> told.kind, sorted(told.wrong)
    ('ean13', [])
    """
    explained = list(_explained(read.text))
    if not explained:
        return Told(kind="")
    kind, text, layout, points = explained[0]
    others = [each for _, of, each, _ in explained if of == text and each != US]
    said = points | {Point.ENDING: read.ended_by_key}
    if layout != US or _tells_layouts_apart(text):
        said[Point.LAYOUT] = layout == US
    if read.gap_ms is not None:
        said[Point.SPEED] = read.gap_ms < FAST_MS
    return Told(
        kind=kind,
        symbol=1 + _ROWS.index((kind, text)),
        right=frozenset(point for point, is_right in said.items() if is_right),
        wrong=frozenset(point for point, is_right in said.items() if not is_right),
        layouts=() if layout == US else tuple(dict.fromkeys(others)),
    )


def _explained(given: str) -> Iterator[tuple[str, str, str, dict[Point, bool]]]:
    """Yield the symbols and what was done to them that explain the text, the simplest first."""
    given = given.strip("\r\n\t ")
    if not given or len(given) > max(len(text) for _, text, _ in TRIALS) + len("]d2"):
        return
    bare = without_aim(given)
    for kind, text, _ in TRIALS:
        points = _compared(bare, text)
        if points is not None:
            yield kind, text, US, points | {Point.PREFIX: bare != given}
    for layout in LAYOUTS:
        for cut in (0, *IDENTIFIER) if layout != US else ():
            meant = _as_set_to(given[cut:], layout)
            for kind, text, _ in TRIALS:
                points = _compared(meant, text)
                if points is not None:
                    # What is in front came from other keys too: said again once the layout is right
                    yield kind, text, layout, points | ({} if cut else {Point.PREFIX: False})


def _compared(bare: str, text: str) -> dict[Point, bool] | None:
    """Return what became of separator and case; None: it is not this symbol."""
    points: dict[Point, bool] = {}
    if GS in text:
        points[Point.SEPARATOR] = bare.count(GS) == text.count(GS)
    if any(char.islower() for char in text):
        points[Point.CASE] = True
    wanted = text if points.get(Point.SEPARATOR, True) else text.replace(GS, "")
    if bare == wanted:
        return points
    if bare.casefold() == wanted.casefold() and wanted.casefold() != wanted.upper():
        return points | {Point.CASE: False}
    return None


def _as_set_to(text: str, layout: str) -> str:
    """Return what a scanner of that layout meant, whose keys were read by their places as US."""
    return "".join(_keys(layout).get(char, char) for char in text)


@cache
def _keys(layout: str) -> dict[str, str]:
    return {us: ACCENT.get(sent, sent) for us, sent in LAYOUTS[layout].items()}


@cache
def _tells_layouts_apart(text: str) -> bool:
    """Tell whether no other layout would have sent this very text with the same keys."""
    return all(_as_set_to(text, layout) != text for layout in LAYOUTS if layout != US)
