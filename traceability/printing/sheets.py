"""Many labels at once: act cards and scanner trials on A4, badges, places and parts one a page."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Final

from traceability.domain.act_cards import CARDS, COUNT_CARDS, DIGIT_CARDS, REASON_CARDS
from traceability.domain.own_keys import PRIVATE, OwnKeys
from traceability.domain.part_labels import PartLabel, part_symbol
from traceability.domain.steps import NotDone
from traceability.domain.tags import (
    SymbolKind,
    badge_symbol,
    machine_symbol,
    place_symbol,
    write_symbol,
)
from traceability.domain.trials import READ_BACK, TRIALS
from traceability.identifiers.gs1 import GS
from traceability.printing.barcodes import TYPES
from traceability.printing.label import Box, Label, WrongLabel
from traceability.printing.label_file import load_label
from traceability.printing.paper import Printed, print_sheets
from traceability.printing.pdf import Sheet
from traceability.printing.proof import proved
from traceability.printing.words import Said, lot, plain

A4_MM: Final = (210.0, 297.0)
MARGIN_MM: Final = 10.0
CUT_MM: Final = (3.0, 0.15)
"""Length and thickness of the lines to cut along."""

REASON_WORDS: Final = {
    "no-other": "No other in stock",
    "patient-waits": "Patient waits",
    "pharmacist": "Pharmacist asked",
    "by-hand": "Checked by hand",
    NotDone.NOT_HERE: "Not for this circuit",
    NotDone.NO_MEANS: "Not at hand",
    NotDone.OTHER_WAY: "Done another way",
    NotDone.ALONE: "Nobody else there",
}
DIGIT_WORDS: Final = {".": "Decimal point"}

Cell = tuple[Mapping[str, Said], Mapping[str, str]]
"""Facts and symbols of one label."""


def print_act_cards(*, dpi: int = 300) -> Printed:
    """Return the act cards: numbers, verbs, reasons and counts, on as many A4 as needed."""
    said = [
        *((str(act), str(number), verb) for act, (number, verb) in CARDS.items()),
        *((body, "Reason", REASON_WORDS[reason]) for body, reason in REASON_CARDS.items()),
        *((body, "Count", str(count)) for body, count in COUNT_CARDS.items()),
        *((body, "Number", DIGIT_WORDS.get(each, each)) for body, each in DIGIT_CARDS.items()),
    ]
    cells: list[Cell] = [
        (
            {"number": plain(number), "verb": plain(verb)},
            {"card": write_symbol(SymbolKind.ACT, body)},
        )
        for body, number, verb in said
    ]
    label = load_label("act_card")
    return _on_a4([(label, *cell) for cell in cells], dpi, title="Act cards")


def print_badges(people: Iterable[Mapping[str, str]], *, dpi: int = 300) -> Printed:
    """Return badges, one a page. Each of `people` has code, name, roles, unit and site.

    A name that is too long even at the least size ends in "…": the symbol is what counts.

    Raises:
        ValueError: a code that is not of letters A-Z, digits and hyphens within.
    """
    cells = [(_said(person), {"badge": badge_symbol(person["code"])}) for person in people]
    return print_cells(load_label("badge"), cells, dpi, title="Badges")


def print_places(
    places: Iterable[Mapping[str, str]],
    *,
    site_code: str,
    kind: str = "",
    keys: OwnKeys = PRIVATE,
    dpi: int = 203,
) -> Printed:
    """Return place labels, one a page. Each of `places` has code, name, duty and unit.

    `kind`: "shelf", "console" ...; the label of that kind if there is a folder for it. A name that
    is too long even at the least size ends in "…".

    Raises:
        ValueError: a code that is not of letters A-Z, digits and hyphens within.
    """
    cells = [
        (_said(each), {"place": keys.carrying(place_symbol(site_code, each["code"]))})
        for each in places
    ]
    return print_cells(_label_of_place(kind), cells, dpi, title="Place labels")


def print_parts(
    part: PartLabel, *, site_code: str, copies: int, unit: str, practice: bool, dpi: int = 203
) -> Printed:
    """Return labels for pieces without a code of their own, one a page.

    Raises:
        DoesNotFit: lot or name are too long for the label: a lot is never cut.
        CannotLabel: the item or its lot cannot stand in a symbol.
    """
    symbol, kind = part_symbol(site_code, part)
    label = load_label("part")
    fields = tuple(replace(each, kind=kind, quiet=TYPES[kind].quiet) for each in label.symbols)
    facts = {
        "name": plain(part.name),
        "lot": lot(part.lot),
        "expires": plain(part.expiry.isoformat() if part.expiry else ""),
        "maker": plain(part.maker),
        "code": lot(part.item),
        "unit": plain(unit),
        "practice": plain("PRACTICE" if practice else ""),
    }
    cells = [(facts, {"part": symbol})] * copies
    return print_cells(
        replace(label, symbols=fields), cells, dpi, title="Part labels", shorten=False
    )


def print_scanner_sheet(*, dpi: int = 300) -> Printed:
    """Return the sheet that a new scanner has to read: every kind of symbol met on a trolley."""
    label = load_label("scanner_trial")
    cells = []
    for kind, text, why in TRIALS:
        symbols = tuple(replace(one, kind=kind, quiet=TYPES[kind].quiet) for one in label.symbols)
        facts = {
            "name": plain(kind.upper().replace("-", " ")),
            "reads": lot(text.replace(GS, "<GS>")),
            "why": plain(
                f"{why}. <GS> is the separator: the scanner must send it."
                if GS in text
                else f"{why}."
            ),
        }
        cells.append((replace(label, symbols=symbols), facts, {"trial": text}))
    return _on_a4(cells, dpi, title="Scanner acceptance sheet")


def print_ruler(*, site: str, dpi: int = 203) -> Printed:
    """Return the label that shows whether a printer keeps to its size."""
    words = "Read back this label: print it as you print tags, at 100 %, without “fit to page”."
    facts = {"words": plain(words), "site": plain(f"{site} · drawn for {dpi} dots an inch")}
    symbol = write_symbol(SymbolKind.ACT, READ_BACK)
    return print_cells(load_label("ruler"), [(facts, {"ruler": symbol})], dpi, title="Ruler")


def render_act_cards(*, dpi: int = 300) -> bytes:
    """Return `print_act_cards` as a PDF."""
    return print_act_cards(dpi=dpi).pdf


def render_badges(people: Iterable[Mapping[str, str]], *, dpi: int = 300) -> bytes:
    """Return `print_badges` as a PDF."""
    return print_badges(people, dpi=dpi).pdf


def print_cells(
    label: Label, cells: Sequence[Cell], dpi: int, *, title: str, shorten: bool = True
) -> Printed:
    """Return labels, one a page, each read back from its own dots.

    Raises:
        DoesNotFit: a text or symbol does not fit; with `shorten`, only a symbol.
        DoesNotReadBack: a page's dots read as something else.
    """

    def draw(sheet: Sheet) -> None:
        for facts, symbols in cells:
            sheet.draw(label, facts, symbols, shorten=shorten)
            sheet.next_page()

    return proved(print_sheets(label.width, label.height, dpi, draw, title=title), title)


def _label_of_place(kind: str) -> Label:
    try:
        return load_label(f"place_{kind}" if kind else "place")
    except WrongLabel as wrong:
        if "no such label" not in str(wrong):
            raise
        return load_label("place")


def render_machine_labels(
    machines: Iterable[Mapping[str, str]],
    *,
    site_code: str,
    keys: OwnKeys = PRIVATE,
    dpi: int = 203,
) -> bytes:
    """Return labels for machines, one a page. Each has code (asset number), name, duty and unit.

    Raises:
        ValueError: an asset number that is not of letters A-Z, digits and hyphens within.
    """
    cells = [
        (_said(each), {"place": keys.carrying(machine_symbol(site_code, each["code"]))})
        for each in machines
    ]
    return print_cells(load_label("place"), cells, dpi, title="Equipment labels").pdf


def _said(facts: Mapping[str, str]) -> Mapping[str, Said]:
    return {name: plain(text) for name, text in facts.items()}


def _on_a4(
    cells: Sequence[tuple[Label, Mapping[str, Said], Mapping[str, str]]], dpi: int, *, title: str
) -> Printed:
    """Return labels of one size, as many on a page as fit, with lines to cut along."""
    first_label = cells[0][0]
    across = int((A4_MM[0] - 2 * MARGIN_MM) // first_label.width)
    down = int((A4_MM[1] - 2 * MARGIN_MM) // first_label.height)
    side = (A4_MM[0] - across * first_label.width) / 2
    sheets = [cells[first : first + across * down] for first in range(0, len(cells), across * down)]

    def draw(sheet: Sheet) -> None:
        for page in sheets:
            for at, (label, facts, symbols) in enumerate(page):
                left = side + at % across * label.width
                top = MARGIN_MM + at // across * label.height
                sheet.draw(label, facts, symbols, left=left, top=top)
                _corners(sheet, label, left, top)
            sheet.next_page()

    return proved(print_sheets(*A4_MM, dpi, draw, title=title), title)


def _corners(sheet: Sheet, label: Label, left: float, top: float) -> None:
    """Draw short lines at the corners to cut along."""
    long, thin = CUT_MM
    for x in (0.0, label.width):
        for y in (0.0, label.height):
            sheet.ink(Box(x=x - long / 2, y=y - thin / 2, width=long, height=thin), left, top)
            sheet.ink(Box(x=x - thin / 2, y=y - long / 2, width=thin, height=long), left, top)
