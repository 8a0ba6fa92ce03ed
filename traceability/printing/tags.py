"""The circuit tag: the record's only handle on the thing itself."""

import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from traceability.domain.tags import TagFacts
from traceability.printing.fonts import cut_line, printable
from traceability.printing.label import Label, load_label
from traceability.printing.pdf import POINTS_PER_MM, DoesNotFit, new_sheet

CAUTION: Final = "Inspect before use. The record is not the inspection."
PLAIN_SIZES: Final = (7.0, 6.5, 6.0, 5.5, 5.0)
"""Points of the plain text tag: the first at which all is on one label, else several labels."""
PLAIN_LEADING: Final = 1.2
PLAIN_MARGIN: Final = 3 * POINTS_PER_MM


def render_tag(facts: TagFacts, *, dpi: int = 203, label: Label | None = None) -> bytes:
    """Return the tag as a PDF of one page in exact millimetres.

    A fact that does not fit its field, or has none, makes the whole tag a plain text one, which
    says so: a tag that left something out would be worse. Only that one may take more pages.
    """
    label = label or load_label("circuit_tag")
    texts = tag_texts(facts)
    try:
        return _drawn(label, texts, facts.symbol, dpi)
    except DoesNotFit as misfit:
        return _plain(label, texts, facts.symbol, misfit.name, dpi)


def _drawn(label: Label, texts: Mapping[str, str], symbol: str, dpi: int) -> bytes:
    buffer = io.BytesIO()
    sheet = new_sheet(buffer, label.width, label.height, dpi)
    canvas = sheet.canvas
    have = {field.name for field in label.fields}
    for name, text in texts.items():
        if text and name not in have:
            raise DoesNotFit(name)
    sheet.draw(label, texts, {"circuit": symbol})
    canvas.setTitle(f"Circuit tag {texts['number']}")
    canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def tag_texts(facts: TagFacts) -> dict[str, str]:
    """Return what stands in each field of the tag."""
    warning, _, missing = facts.unsigned_words.partition(" SIGNATURE ")
    if missing:
        warning += " SIGNATURE"
    return {
        "number": facts.number,
        "kind": _joined(facts.circuit_type, facts.place, facts.way),
        "use_by_reason": f"Use by ({facts.use_by_reason})" if facts.use_by else "Use by: not known",
        "use_by": _moment(facts, facts.use_by) if facts.use_by else "CONTENTS NOT RECORDED",
        "prime_1": facts.prime_lines[0] if facts.prime_lines else "",
        "prime_2": " ".join(facts.prime_lines[1:]),
        "primer": _signed(facts, "Primed", facts.primer, facts.primer_signed_at, facts.primed_at),
        "helper": _signed(
            facts, "Assisted and checked", facts.helper, facts.helper_signed_at, None
        ),
        "parts": facts.parts_line,
        "oxygenator": _oxygenator(facts),
        "scan_words": "Scan when you take it",
        "warning_1": "PRACTICE" if facts.practice else warning,
        "warning_2": facts.unsigned_words if facts.practice else missing,
        "copy": f"Copy {facts.copy + 1}" if facts.copy else "",
        "ring": ", ".join(filter(None, (facts.site_name, facts.unit, f"ring {facts.ring}"))),
        "caution": CAUTION,
    }


def _joined(*parts: str) -> str:
    return " · ".join(part for part in parts if part)


def _moment(facts: TagFacts, at: datetime | None) -> str:
    return f"{at.astimezone(facts.zone):%Y-%m-%d %H:%M %Z}" if at else ""


def _signed(
    facts: TagFacts,
    meaning: str,
    name: str,
    signed_at: datetime | None,
    primed_at: datetime | None,
) -> str:
    if facts.use_by is None:
        return ""
    when = f" {_moment(facts, primed_at)}" if primed_at else ""
    if signed_at is None:
        return f"{meaning}{when}: {name or 'name not recorded'}, not signed"
    return f"{meaning}{when}: {name}, signed {signed_at.astimezone(facts.zone):%H:%M}"


def _oxygenator(facts: TagFacts) -> str:
    lot = f"lot {facts.oxygenator_lot}" if facts.oxygenator_lot else ""
    serial = f"serial {facts.oxygenator_serial}" if facts.oxygenator_serial else ""
    said = ", ".join(part for part in (lot, serial) if part)
    return f"Oxygenator {said}" if said else ""


@dataclass(frozen=True, slots=True)
class _Line:
    text: str
    bold: bool
    y: float
    """Points from the upper edge to the line's foot."""


def _plain(label: Label, texts: Mapping[str, str], symbol: str, misfit: str, dpi: int) -> bytes:
    """Draw all facts as running text around the symbol, on as many labels as they need."""
    buffer = io.BytesIO()
    sheet = new_sheet(buffer, label.width, label.height, dpi)
    said = [text for name, text in texts.items() if text and name != "scan_words"]
    why = f"{misfit.replace('_', ' ')} did not fit"
    for size in PLAIN_SIZES:
        pages = _set(label, [f"PLAIN TAG: {why}", *said], size)
        if len(pages) == 1:
            break
    else:
        # Each of several labels says which tag it belongs to and how many there are.
        size, count = PLAIN_SIZES[0], 0
        while count != len(pages):
            count = len(pages)
            head = f"PLAIN TAG OF {count} LABELS: {why}"
            pages = _set(label, [head, *said], size, repeat=f"{texts['number']}, {head}")
    for page in pages:
        for field in label.symbols:
            sheet.symbol(field, symbol, 0, 0, smaller=True)
        for line in page:
            sheet.canvas.setFont("sans-bold" if line.bold else "sans", size)
            sheet.canvas.drawString(PLAIN_MARGIN, sheet.height - line.y, line.text)
        sheet.canvas.showPage()
    sheet.canvas.save()
    return buffer.getvalue()


def _set(label: Label, said: Sequence[str], size: float, *, repeat: str = "") -> list[list[_Line]]:
    """Return the lines of each page; `repeat` heads every page but the first."""
    height = (label.height - 2) * POINTS_PER_MM
    waiting = [(text, number < 2) for number, text in enumerate(said)]  # noqa: PLR2004 - why, number
    pages: list[list[_Line]] = [[]]
    y = 2 * POINTS_PER_MM
    while waiting:
        if y + size * PLAIN_LEADING > height:
            pages.append([])
            y = 2 * POINTS_PER_MM
            if repeat:
                waiting.insert(0, (f"{repeat}, label {len(pages)}", True))
        text, bold = waiting.pop(0)
        font = "sans-bold" if bold else "sans"
        line, rest = cut_line(printable(text, font), font, size, _room(label, y, size))
        y += size * PLAIN_LEADING
        pages[-1].append(_Line(line, bold, y - size * 0.2))
        if rest:
            waiting.insert(0, (rest, bold))
    return pages


def _room(label: Label, y: float, size: float) -> float:
    """Return how long a line may be: up to the symbols beside it, or the whole width."""
    beside = [
        field.box.x
        for field in label.symbols
        if y < (field.box.y + field.box.height + 1) * POINTS_PER_MM
        and y + size * PLAIN_LEADING > (field.box.y - 1) * POINTS_PER_MM
    ]
    right = min(beside, default=label.width - 2)
    return right * POINTS_PER_MM - POINTS_PER_MM - PLAIN_MARGIN
