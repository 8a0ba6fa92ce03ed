"""Words of the drill: what the share counts, where units are, what is open, where it is mended."""

import csv
import io
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Final
from uuid import UUID

from traceability.domain.drills.people import Step, Stopped
from traceability.domain.drills.reconcile import Code, Point, Whereabouts
from traceability.reads.drills import Drill, ToMend

DEFINITION: Final = (
    "A unit is one piece of use: one tap, one bag. Units are all that were received of the lot, "
    "and all that were used, taken out or counted beyond that.",
    "Each unit stands in exactly one of these: on the shelf by the book; in a circuit that is not "
    "used yet; on a patient; used, and its end is known; gone before use; taken out with a reason; "
    "not accounted for.",
    "A unit is reconciled when it is accounted for and nothing about it is open: a receipt before "
    "its use, its place, its expiry, both signatures, flow on and off, and that the patient of "
    "the run is recorded.",
    "The share is reconciled units of all units. What nobody booked in is followed from use "
    "to end only: ward stock, and what was used before the stock book of its product began. It "
    "stands apart and is not in the share. What a count finds on the day that book begins stands "
    "for a receipt.",
)
"""What the share counts. Common practice, no source."""

LIMITS: Final = (
    "The book is believed where it says that a piece is on a shelf. A count proves it, a drill "
    "does not. A piece whose lot was not recorded cannot be seen from its lot."
)

WHERE: Final[Mapping[Whereabouts, str]] = {
    Whereabouts.SHELF: "On the shelf, by the book",
    Whereabouts.STANDING: "In a circuit not used yet",
    Whereabouts.ON_PATIENT: "On a patient",
    Whereabouts.USED: "Used, end known",
    Whereabouts.BEFORE_USE: "Gone before use",
    Whereabouts.TAKEN_OUT: "Taken out, with a reason",
    Whereabouts.NOT_ACCOUNTED: "Not accounted for",
}

WHY: Final[Mapping[Code, str]] = {
    Code.NOT_ACCOUNTED: "Received, and not on the shelf, not used, not taken out",
    Code.NOT_RECEIVED: "Used, with no receipt before that",
    Code.SHELF_NOT_RECEIVED: "On the shelf or taken out, more than was received",
    Code.SHELF_OWED: "The book is below zero in one place, so another place's number is in doubt",
    Code.PLACE: "Its place in the circuit or the body is not recorded",
    Code.EXPIRY: "When it expires is not recorded",
    Code.DISPUTED: "Two claims on it stand, and nobody has ruled",
    Code.SIGNATURES: "A signature under the prime is missing",
    Code.PRIME_OPEN: "The prime began more than 24 h ago and has not ended",
    Code.FLOW_ON: "Flow on is not recorded",
    Code.FLOW_OFF: "The run has ended; when this came off is not recorded",
    Code.PATIENT: "The patient of the run is not recorded",
    Code.PATIENT_TEMPORARY: "The patient of the run has a temporary identity only",
}
"""What is open."""

MEND: Final[Mapping[Code, str]] = {
    Code.NOT_ACCOUNTED: "Count the lot, or take out what is gone and say why",
    Code.NOT_RECEIVED: "Enter the receipt, with the day it came, then count the lot",
    Code.SHELF_NOT_RECEIVED: "Enter the receipt, or count again",
    Code.SHELF_OWED: "Count the lot in every place",
    Code.PLACE: "Set the entry right",
    Code.EXPIRY: "Set the entry right",
    Code.DISPUTED: "Rule on the claims",
    Code.SIGNATURES: "Sign it, or say on paper why nobody can",
    Code.PRIME_OPEN: "End the prime, or discard it",
    Code.FLOW_ON: "Enter it late",
    Code.FLOW_OFF: "Enter it late",
    Code.PATIENT: "Say who it is",
    Code.PATIENT_TEMPORARY: "Say who it is",
}
"""What is done about it."""

STEPS: Final[Mapping[Step, str]] = {
    Step.ANSWER_FOUND: "Answer found",
    Step.STOCK_SEEN: "Stock seen",
}

STOPPED: Final[Mapping[Stopped, str]] = {
    Stopped.REAL_NOTICE: "A real notice or an emergency came",
    Stopped.NOT_REACHED: "Somebody could not be reached",
    Stopped.OTHER: "Other",
}

NOT_THERE: Final[Mapping[str, str]] = {
    "no-lot": "No lot is known here yet. Book stock in first, then begin a drill.",
    "lot-not-known": "No lot is known by that. Scan the pack, or write the lot as printed.",
    "lots-alike": "Several products have that lot. Scan the pack itself.",
    "other-place": "That is no place of this unit, and no pack of this lot. Scan the symbol on the "
    "place, or the pack.",
}
"""What is said where a scan or a text of a drill leads nowhere."""

DRILL_MARK: Final = "DRILL. This is no notice. Nothing is on hold for it."
"""Stands on every page of a drill for people."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MendLine:
    """One line of the list to mend: what is open, how many units, and where it is mended."""

    product_id: UUID
    product: str
    lot: str
    point: Point
    units: int
    about: str
    page: str

    @property
    def why(self) -> str:
        """What is open."""
        return WHY[self.point.code]

    @property
    def do(self) -> str:
        """What is done about it."""
        return MEND[self.point.code]


def share_words(reconciled: int, units: int) -> str:
    """Return "412 of 430 units reconciled, 95 %"; the per cent never stands alone, or rounds up."""
    if units == 0:
        return "0 units"
    return f"{reconciled} of {units} units reconciled, {per_cent(reconciled, units)}\u00a0%"


def per_cent(reconciled: int, units: int) -> int:
    """Return the share in per cent, rounded down: 100 is said only where nothing is open."""
    return 100 * reconciled // units if units else 0


def use_words(found: Drill) -> str:
    """Return the same of what is followed from use to end only."""
    told = share_words(found.use_reconciled, found.use_units)
    return f"From use to end only: {told}."


def duration_words(begun: datetime, ended: datetime) -> str:
    """Return "12 min 40 s", "1 h 5 min": how long a drill took."""
    seconds = max(int((ended - begun).total_seconds()), 0)
    hours, minutes = seconds // 3600, seconds % 3600 // 60
    return f"{hours} h {minutes} min" if hours else f"{minutes} min {seconds % 60} s"


def mend_lines(found: Iterable[ToMend]) -> list[MendLine]:
    """Return the list to mend: of several units that say the same, one line; most units first."""
    together: dict[tuple[object, ...], list[ToMend]] = {}
    for each in found:
        p = each.point
        where = (p.entry, p.place) if p.code in _BY_ENTRY else (p.place if p.entry is None else "",)
        key = (each.product_id, each.lot, p.code, p.circuit, p.run, where)
        together.setdefault(key, []).append(each)
    lines = [
        MendLine(
            product_id=group[0].product_id,
            product=group[0].product,
            lot=group[0].lot,
            point=group[0].point,
            units=sum(each.point.units for each in group),
            about=_about(group[0].point),
            page=_page(group[0]),
        )
        for group in together.values()
    ]
    return sorted(lines, key=lambda line: (-line.units, line.lot, line.about))


def mend_csv(lines: Iterable[MendLine]) -> str:
    """Return the list to mend as CSV (RFC 4180); lots stand to the letter."""
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\r\n")
    table.writerow(["product", "lot", "units", "code", "open", "about", "to_do", "page"])
    for line in lines:
        what = [line.product, line.lot, line.units, str(line.point.code)]
        table.writerow([*what, line.why, line.about, line.do, line.page])
    return out.getvalue()


_BY_ENTRY: Final = frozenset({Code.PLACE, Code.EXPIRY})
_AT_THE_SHELVES: Final = frozenset(
    {Code.NOT_ACCOUNTED, Code.NOT_RECEIVED, Code.SHELF_NOT_RECEIVED, Code.SHELF_OWED}
)
_OF_THE_RUN: Final = frozenset({Code.FLOW_ON, Code.FLOW_OFF, Code.PATIENT, Code.PATIENT_TEMPORARY})


def _about(point: Point) -> str:
    """Return what a line is about: a circuit, a run, a place."""
    if point.code in _OF_THE_RUN and point.run:
        return f"{point.run}, {point.circuit}" if point.circuit else point.run
    return point.circuit or point.run or point.place or "the shelves"


def _page(found: ToMend) -> str:
    """Return the address of the page where it is mended."""
    point = found.point
    if point.code in _AT_THE_SHELVES:
        return f"/stock/{found.product_id}"
    if point.code in _BY_ENTRY:
        return f"/entries/{point.entry}"
    if point.code is Code.DISPUTED:
        return "/disputes"
    if point.code is Code.SIGNATURES:
        return f"/circuits/{point.circuit}/sign"
    if point.code is Code.PRIME_OPEN:
        return f"/prime/{point.circuit}"
    return f"/runs/{point.run}" if point.run else f"/circuits/{point.circuit}"
