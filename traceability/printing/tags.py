"""The circuit tag: the record's only handle on the thing itself."""

from collections.abc import Mapping
from datetime import datetime
from typing import Final

from traceability.domain.tags import TagFacts
from traceability.printing.label import Label
from traceability.printing.label_file import load_label
from traceability.printing.pdf import DoesNotFit, new_sheet
from traceability.printing.plain_tag import draw_plain
from traceability.printing.words import Run, Said, lot, plain

CAUTION: Final = "Inspect before use. The record is not the inspection."


def render_tag(facts: TagFacts, *, dpi: int = 203, label: Label | None = None) -> bytes:
    """Return the tag as a PDF of one page in exact millimetres.

    A fact that does not fit its field makes the whole tag a plain text one, which says so: a tag
    that left something out would be worse. So does a symbol that cannot be written or verified.
    The same facts give the same bytes.
    """
    label = label or load_label("circuit_tag")
    said = tag_facts_said(facts)
    sheet = new_sheet(label.width, label.height, dpi, title=f"Circuit tag {facts.number}")
    try:
        sheet.draw(label, said, {"circuit": facts.symbol})
        sheet.next_page()
    except DoesNotFit as misfit:
        draw_plain(sheet, label, said, {"circuit": facts.symbol}, misfit=misfit.name)
    return sheet.finished()


def tag_facts_said(facts: TagFacts) -> Mapping[str, Said]:
    """Return what a tag says under each name that a label of a circuit may use."""
    primed = _signed(facts, "Primed", facts.primer, facts.primer_signed_at, facts.primed_at)
    checked = _signed(facts, "Assisted and checked", facts.helper, facts.helper_signed_at, None)
    return {
        "number": lot(facts.number),
        "kind": plain(_joined(facts.circuit_type, facts.place, facts.way)),
        "site": plain(facts.site_name),
        "use_by_reason": plain(
            f"Use by ({facts.use_by_reason})" if facts.use_by else "Use by: not known"
        ),
        "use_by": plain(_moment(facts, facts.use_by) if facts.use_by else "CONTENTS NOT RECORDED"),
        "prime_1": plain(facts.prime_lines[0] if facts.prime_lines else ""),
        "prime_2": plain(" ".join(facts.prime_lines[1:])),
        "primer": plain(primed),
        "helper": plain(checked),
        "parts": plain(facts.parts_line),
        "oxygenator": _oxygenator(facts),
        "practice": plain("PRACTICE" if facts.practice else ""),
        "warning": plain(facts.unsigned_words),
        "copy": plain(f"Copy {facts.copy + 1}" if facts.copy else ""),
        "ring": plain(_ring(facts)),
        "caution": plain(CAUTION),
    }


def _joined(*parts: str) -> str:
    return " · ".join(part for part in parts if part)


def _ring(facts: TagFacts) -> str:
    """Return whom to ring; with the hospital, for a circuit may lie in another one."""
    ring = f"ring {facts.ring}" if facts.ring else ""
    return ", ".join(word for word in (facts.site_name, facts.unit, ring) if word)


def _moment(facts: TagFacts, at: datetime) -> str:
    return f"{at.astimezone(facts.zone):%Y-%m-%d %H:%M %Z}"


def _signed(
    facts: TagFacts,
    meaning: str,
    name: str,
    signed_at: datetime | None,
    primed_at: datetime | None,
) -> str:
    if facts.primed_at is None:
        return ""
    when = f" {_moment(facts, primed_at)}" if primed_at else ""
    who = f"{meaning}{when}: {name or 'name not recorded'}"
    if signed_at is None:
        return f"{who}, not signed"
    # The hour alone would mislead on a tag that was signed on another day.
    local = signed_at.astimezone(facts.zone)
    same_day = local.date() == facts.primed_at.astimezone(facts.zone).date()
    return f"{who}, signed {local:%H:%M}" if same_day else f"{who}, signed {local:%Y-%m-%d %H:%M}"


def _oxygenator(facts: TagFacts) -> Said:
    said: list[Run] = []
    for word, value in (("lot", facts.oxygenator_lot), ("serial", facts.oxygenator_serial)):
        if value:
            said += [Run(f"{', ' if said else 'Oxygenator '}{word} "), *lot(value)]
    return tuple(said)
