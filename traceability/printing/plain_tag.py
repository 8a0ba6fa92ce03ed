"""The plain text tag: all facts as running text, when a label cannot hold or show them.

A circuit is never left without a tag, and a tag never leaves anything out: what does not fit one
tag goes on a second, each with the number and the symbol, each saying which of how many it is.
"""

import itertools
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from typing import Final

from traceability.printing.field_text import POINTS_PER_MM, DoesNotFit
from traceability.printing.label import Label
from traceability.printing.pdf import FittedSymbol, Sheet
from traceability.printing.words import LINE, Face, Said, broken, plain

SIZES: Final = (7.0, 6.5, 6.0, 5.5)
"""Points, tried in this order; when even the last needs more than one tag, it stays the last."""
MARGIN_MM: Final = 3.0
BOLD: Final = Face("sans-bold")
USUAL: Final = Face("sans")
FIRST: Final = ("practice", "number", "use_by_reason", "use_by", "warning")
"""What stands on every one of the tags, in this order."""


def draw_plain(
    sheet: Sheet,
    label: Label,
    facts: Mapping[str, Said],
    symbols: Mapping[str, str],
    *,
    why: str,
) -> None:
    """Draw as many plain tags as all facts need; `why` says what was wrong with the label."""
    shown = list(_drawable(sheet, label, symbols))
    right = min((each.field.box.x for each in shown), default=label.width)
    wide = (right - 2 * MARGIN_MM) * POINTS_PER_MM
    tall = (label.height - 2 * MARGIN_MM) * POINTS_PER_MM
    why = f"PLAIN TAG: {why}"
    if not shown:
        why = "PLAIN TAG: no symbol could be made. Type the number."
    for size in SIZES:
        pages = list(_pages(facts, why, size, wide, int(tall / (size * LINE))))
        if len(pages) == 1:
            break
    for number, lines in enumerate(pages, start=1):
        for each in shown:
            sheet.symbol(each, 0, 0)
        count = f" Tag {number} of {len(pages)}." if len(pages) > 1 else ""
        head = broken(plain(why + count), BOLD, size, wide)
        for row, (face, line) in enumerate([*((BOLD, each) for each in head), *lines]):
            y = sheet.height - MARGIN_MM * POINTS_PER_MM - size * (row * LINE + 1)
            sheet.line(line, face, size, MARGIN_MM * POINTS_PER_MM, y)
        sheet.next_page()


def _pages(
    facts: Mapping[str, Said], why: str, size: float, wide: float, room: int
) -> Iterator[list[tuple[Face, Said]]]:
    """Yield the lines of each tag below its first line, the most important ones on every tag."""
    # The count of tags is not known yet: leave room for the longest way to say it.
    head = len(broken(plain(f"{why} Tag 99 of 99."), BOLD, size, wide))
    every = _set(facts, FIRST, BOLD, size, wide)[: max(room - head - 1, 0)]
    rest = _set(facts, [name for name in facts if name not in FIRST], USUAL, size, wide)
    each = max(room - head - len(every), 1)
    for first in itertools.count(0, each):
        if first and first >= len(rest):
            return
        yield [*every, *rest[first : first + each]]


def _set(
    facts: Mapping[str, Said], names: Sequence[str], face: Face, size: float, wide: float
) -> list[tuple[Face, Said]]:
    lines: list[tuple[Face, Said]] = []
    for name in names:
        lines += [(face, line) for line in broken(facts.get(name, ()), face, size, wide)]
    return lines


def _drawable(sheet: Sheet, label: Label, symbols: Mapping[str, str]) -> Iterator[FittedSymbol]:
    """Yield each symbol that can be drawn."""
    for field in label.symbols:
        with suppress(DoesNotFit):
            yield sheet.fitted(field, symbols.get(field.name, ""))
