"""Many labels at once: act cards on A4, badges and place labels one a page."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Final

from traceability.domain.tags import (
    CARDS,
    COUNT_CARDS,
    REASON_CARDS,
    SymbolKind,
    badge_symbol,
    place_symbol,
    write_symbol,
)
from traceability.printing.label import Box, Label
from traceability.printing.label_file import load_label
from traceability.printing.paper import new_sheet
from traceability.printing.pdf import Sheet
from traceability.printing.words import Said, plain

A4_MM: Final = (210.0, 297.0)
MARGIN_MM: Final = 10.0
CUT_MM: Final = (3.0, 0.15)
"""Length and thickness of the lines to cut along."""

REASON_WORDS: Final = {
    "no-other": "No other in stock",
    "patient-waits": "Patient waits",
    "pharmacist": "Pharmacist asked",
    "by-hand": "Checked by hand",
}

Cell = tuple[Mapping[str, Said], Mapping[str, str]]
"""Facts and symbols of one label."""


def render_act_cards(*, dpi: int = 300) -> bytes:
    """Return the act cards: numbers, verbs, reasons and counts, on as many A4 as needed."""
    said = [
        *((str(act), str(number), verb) for act, (number, verb) in CARDS.items()),
        *((body, "Reason", REASON_WORDS[reason]) for body, reason in REASON_CARDS.items()),
        *((body, "Count", str(count)) for body, count in COUNT_CARDS.items()),
    ]
    cells: list[Cell] = [
        (
            {"number": plain(number), "verb": plain(verb)},
            {"card": write_symbol(SymbolKind.ACT, body)},
        )
        for body, number, verb in said
    ]
    return _on_a4(load_label("act_card"), cells, dpi, title="Act cards")


def render_badges(people: Iterable[Mapping[str, str]], *, dpi: int = 300) -> bytes:
    """Return badges, one a page. Each of `people` has code, name, roles, unit and site.

    A name that is too long even at the least size ends in "…": the symbol is what counts.

    Raises:
        ValueError: a code that is not of letters A-Z, digits and hyphens within.
    """
    cells = [(_said(person), {"badge": badge_symbol(person["code"])}) for person in people]
    return _one_a_page(load_label("badge"), cells, dpi, title="Badges")


def render_places(places: Iterable[Mapping[str, str]], *, site_code: str, dpi: int = 203) -> bytes:
    """Return place labels, one a page. Each of `places` has code, name, duty and unit.

    A name that is too long even at the least size ends in "…".

    Raises:
        ValueError: a code that is not of letters A-Z, digits and hyphens within.
    """
    cells = [(_said(each), {"place": place_symbol(site_code, each["code"])}) for each in places]
    return _one_a_page(load_label("place"), cells, dpi, title="Place labels")


def _said(facts: Mapping[str, str]) -> Mapping[str, Said]:
    return {name: plain(text) for name, text in facts.items()}


def _one_a_page(label: Label, cells: Sequence[Cell], dpi: int, *, title: str) -> bytes:
    sheet = new_sheet(label.width, label.height, dpi, title=title)
    for facts, symbols in cells:
        sheet.draw(label, facts, symbols, shorten=True)
        sheet.next_page()
    return sheet.finished()


def _on_a4(label: Label, cells: Sequence[Cell], dpi: int, *, title: str) -> bytes:
    sheet = new_sheet(*A4_MM, dpi, title=title)
    across = int((A4_MM[0] - 2 * MARGIN_MM) // label.width)
    down = int((A4_MM[1] - 2 * MARGIN_MM) // label.height)
    side = (A4_MM[0] - across * label.width) / 2
    for first in range(0, len(cells), across * down):
        page = cells[first : first + across * down]
        for at, (facts, symbols) in enumerate(page):
            left, top = side + at % across * label.width, MARGIN_MM + at // across * label.height
            sheet.draw(label, facts, symbols, left=left, top=top)
            _corners(sheet, label, left, top)
        sheet.next_page()
    return sheet.finished()


def _corners(sheet: Sheet, label: Label, left: float, top: float) -> None:
    """Draw short lines at the corners to cut along."""
    long, thin = CUT_MM
    for x in (0.0, label.width):
        for y in (0.0, label.height):
            sheet.ink(Box(x=x - long / 2, y=y - thin / 2, width=long, height=thin), left, top)
            sheet.ink(Box(x=x - thin / 2, y=y - long / 2, width=thin, height=long), left, top)
