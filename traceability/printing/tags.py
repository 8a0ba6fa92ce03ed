"""The circuit tag: the record's only handle on the thing itself."""

import io
import textwrap
from collections.abc import Mapping
from datetime import datetime
from typing import Final

from traceability.domain.tags import TagFacts
from traceability.printing.label import Label, load_label
from traceability.printing.page import POINTS_PER_MM, DoesNotFit, new_sheet

CAUTION: Final = "Inspect before use. The record is not the inspection."
PLAIN_SIZE: Final = 7
"""Points of the plain text tag."""


def render_tag(facts: TagFacts, *, dpi: int = 203, label: Label | None = None) -> bytes:
    """Return the tag as a PDF of one page in exact millimetres.

    A fact that does not fit its field makes the whole tag a plain text one, which says so: a tag
    that left something out would be worse.
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
        "ring": f"{facts.unit}, ring {facts.ring}",
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


def _plain(label: Label, texts: Mapping[str, str], symbol: str, misfit: str, dpi: int) -> bytes:
    """Draw all facts as running text beside the symbol, smaller and smaller until all is in."""
    buffer = io.BytesIO()
    sheet = new_sheet(buffer, label.width, label.height, dpi)
    canvas = sheet.canvas
    for field in label.symbols:
        sheet.symbol(field, symbol, 0, 0)
    right = min((field.box.x for field in label.symbols), default=label.width)
    said = [f"PLAIN TAG: {misfit.replace('_', ' ')} did not fit"]
    said += [text for name, text in texts.items() if text and name != "scan_words"]
    size = float(PLAIN_SIZE)
    while True:
        letters = int((right - 5) * POINTS_PER_MM / (size * 0.62))
        lines = [line for text in said for line in textwrap.wrap(text, letters) or [""]]
        if len(lines) * size * 1.2 <= (label.height - 4) * POINTS_PER_MM or size <= 3:  # noqa: PLR2004
            break
        size -= 0.25
    for number, line in enumerate(lines, start=1):
        canvas.setFont("sans-bold" if number <= 2 else "sans", size)  # noqa: PLR2004
        canvas.drawString(
            3 * POINTS_PER_MM, sheet.height - 2 * POINTS_PER_MM - number * size * 1.2, line
        )
    canvas.showPage()
    canvas.save()
    return buffer.getvalue()
