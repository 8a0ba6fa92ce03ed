"""Many labels at once: act cards on A4, badges and place labels one a page."""

import io
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
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
from traceability.printing.label import Label, load_label
from traceability.printing.pdf import DoesNotFit, fitted, new_sheet

A4_MM: Final = (210.0, 297.0)
MARGIN_MM: Final = 12.0

REASON_WORDS: Final = {
    "no-other": "No other",
    "patient-waits": "Patient waits",
    "pharmacist": "Pharmacist",
    "by-hand": "By hand",
}

SMALLEST: Final = 0.1
"""Points; only for texts that no label was made for."""
MANY: Final = 1000

Cell = tuple[Mapping[str, str], Mapping[str, str]]
"""Texts and symbols of one label."""


def render_act_cards(*, dpi: int = 300) -> bytes:
    """Return the act cards: numbers, verbs, reasons and counts, on as many A4 as needed."""
    cells: list[Cell] = []
    for act, (number, verb) in CARDS.items():
        texts = {"number": str(number), "verb": verb}
        cells.append((texts, {"symbol": write_symbol(SymbolKind.ACT, str(act))}))
    for body, reason in REASON_CARDS.items():
        texts = {"number": "Why", "verb": REASON_WORDS[reason]}
        cells.append((texts, {"symbol": write_symbol(SymbolKind.ACT, body)}))
    for body, count in COUNT_CARDS.items():
        texts = {"number": "Count", "verb": str(count)}
        cells.append((texts, {"symbol": write_symbol(SymbolKind.ACT, body)}))
    return _on_a4(load_label("act_card"), cells, dpi)


def render_badges(people: Iterable[Mapping[str, str]], *, dpi: int = 300) -> bytes:
    """Return badges, one a page. Each of `people` has code, name, roles, unit and site."""
    cells = [(person, {"symbol": badge_symbol(person["code"])}) for person in people]
    return _one_a_page(load_label("badge"), cells, dpi)


def render_places(places: Iterable[Mapping[str, str]], *, site_code: str, dpi: int = 203) -> bytes:
    """Return place labels, one a page. Each of `places` has code, name, duty and unit."""
    cells = [(place, {"symbol": place_symbol(site_code, place["code"])}) for place in places]
    return _one_a_page(load_label("place"), cells, dpi)


def _one_a_page(label: Label, cells: Sequence[Cell], dpi: int) -> bytes:
    buffer = io.BytesIO()
    sheet = new_sheet(buffer, label.width, label.height, dpi)
    for texts, symbols in cells:
        sheet.draw(_made_to_fit(label, texts), texts, symbols)
        sheet.canvas.showPage()
    sheet.canvas.save()
    return buffer.getvalue()


def _made_to_fit(label: Label, texts: Mapping[str, str]) -> Label:
    """Return the label with room for texts longer than it was made for: small, and all there.

    A badge without a name, or no badge at all, would be worse. What is scanned stays as it is.
    """
    fields = []
    for field in label.fields:
        try:
            fitted(field, texts.get(field.name, ""))
            fields.append(field)
        except DoesNotFit:
            fields.append(replace(field, least=SMALLEST, lines=MANY))
    return replace(label, fields=tuple(fields))


def _on_a4(label: Label, cells: Sequence[Cell], dpi: int) -> bytes:
    buffer = io.BytesIO()
    sheet = new_sheet(buffer, *A4_MM, dpi)
    across = int((A4_MM[0] - 2 * MARGIN_MM) // label.width)
    down = int((A4_MM[1] - 2 * MARGIN_MM) // label.height)
    for number, (texts, symbols) in enumerate(cells):
        at = number % (across * down)
        if number and at == 0:
            sheet.canvas.showPage()
        left = MARGIN_MM + at % across * label.width
        top = MARGIN_MM + at // across * label.height
        sheet.draw(label, texts, symbols, left=left, top=top)
    sheet.canvas.showPage()
    sheet.canvas.save()
    return buffer.getvalue()
