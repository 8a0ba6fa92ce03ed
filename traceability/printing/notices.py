"""Labels that say what a circuit is not for: on hold, do not use, contents not recorded."""

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from traceability.printing.label_file import load_label
from traceability.printing.paper import Printed
from traceability.printing.sheets import print_cells
from traceability.printing.words import lot, plain


@dataclass(frozen=True, slots=True, kw_only=True)
class NoticeFacts:
    """What such a label says. Never a patient."""

    number: str
    kind: str
    """ "Adult 3/8 · Console 3"."""
    reason: str
    printed_at: datetime
    zone: ZoneInfo
    site_name: str
    unit: str
    ring: str
    practice: bool
    symbol: str
    """Text of the circuit's symbol."""


def print_notice(name: str, facts: NoticeFacts, *, dpi: int = 203) -> Printed:
    """Return the label of that name.

    A reason that is too long ends in "…": the head is what counts, and the record has all of it.

    Raises:
        WrongLabel: no such label, or its file is not sound.
    """
    said = {
        "number": lot(facts.number),
        "kind": plain(facts.kind),
        "reason": plain(facts.reason),
        "at": plain(f"Printed {facts.printed_at.astimezone(facts.zone):%Y-%m-%d %H:%M %Z}"),
        "practice": plain("PRACTICE" if facts.practice else ""),
        "ring": plain(", ".join(each for each in _ring(facts) if each)),
        "caution": plain("Inspect before use. The record is not the inspection."),
    }
    title = f"{name.replace('_', ' ').capitalize()} {facts.number}"
    return print_cells(load_label(name), [(said, {"circuit": facts.symbol})], dpi, title=title)


def _ring(facts: NoticeFacts) -> tuple[str, str, str]:
    return facts.site_name, facts.unit, f"ring {facts.ring}" if facts.ring else ""
