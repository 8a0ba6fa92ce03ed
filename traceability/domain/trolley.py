"""What a scan at the trolley comes to: accepted, look again, or stop.

One pure function over the sheet, what is in already and what was scanned. The order of its checks
is the order of danger. Source of the rules: common practice, no source; settled in review with
people of the trade (stop, look again, go on, by situation).
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Final
from uuid import UUID

from traceability.domain.findings import DEFAULT_CHECKS, WAY_ON, Finding, Verdict
from traceability.domain.in_place import InPlace, free_places
from traceability.domain.moments import ONE_SCAN
from traceability.domain.parts import Known
from traceability.domain.sheets import OPEN_PORT_KINDS, SUCTION, Need, Sheet, Slot, Where

__all__ = [
    "DEFAULT_CHECKS",
    "FLUID_KIND",
    "PACK_KIND",
    "WAY_ON",
    "Finding",
    "Judgement",
    "Piece",
    "Situation",
    "Verdict",
    "is_suction",
    "judge",
    "same_words",
    "slots_for",
]

PACK_KIND: Final = "circuit-pack"
FLUID_KIND: Final = "fluid"


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """What was scanned, tied to a known product."""

    product_id: UUID
    name: str
    kind: str
    maker: str = ""
    substance: str = ""
    volume_ml: int | None = None
    circuit_type: str = ""
    lot: str | None = None
    serial: str | None = None
    expiry: date | None = None
    """Last usable day."""
    on_hold: str = ""
    """Number of the notice or reason of the hold on the product or lot; empty if free."""
    in_notice: str = ""
    """Number of an open notice whose scope this piece fits for sure; empty: none."""
    like_notice: str = ""
    """Number of an open notice that may mean it; empty: none."""
    elsewhere: str | None = None
    """Number of another circuit that holds this very unit."""
    opened: str = ""
    """Number of a circuit that this very unit was put into before and is out of; empty: none."""
    never_received: bool = False
    """Whether its product is counted here and its lot was neither received nor counted."""
    known: Known = Known.SCANNED


@dataclass(frozen=True, slots=True, kw_only=True)
class Situation:
    """The prime as it stands when the scan comes in."""

    sheet: Sheet
    filled: Sequence[InPlace]
    today: date
    """The unit's local day."""
    planned_use_by: date
    """Local day of the use-by if the prime ended now, by the storage policy alone."""
    at: datetime
    device_id: UUID
    ended: bool = False
    checks: Mapping[Finding, Verdict] = field(default_factory=lambda: DEFAULT_CHECKS)
    """How hard each check is, by the unit's policy."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    """The answer: a verdict, why, and where the piece goes if it is accepted."""

    verdict: Verdict
    finding: Finding
    slot: str = ""
    ordinal: int = 0
    disputed: bool = False
    choices: tuple[tuple[str, int], ...] = ()
    """Open places to choose from, for WHICH_PLACE."""
    facts: Mapping[str, str | int] = field(default_factory=dict)


def judge(
    piece: Piece, now: Situation, *, slot: str = "", waived: frozenset[Finding] = frozenset()
) -> Judgement:
    """Return what the scan comes to.

    `slot` is a place the person pointed at, or empty; `waived` are findings that somebody with the
    right has gone past, each on record.
    """
    for finding, facts in _stops(piece, now, slot):
        if finding not in waived:
            return Judgement(verdict=now.checks[finding], finding=finding, facts=facts)
    twin = _same_scan(piece, now)
    if twin is not None:
        finding = Finding.SAME_SCAN if twin.device_id == now.device_id else Finding.OTHER_DEVICE
        if finding is Finding.SAME_SCAN:
            return Judgement(
                verdict=Verdict.ACCEPTED, finding=finding, slot=twin.slot, ordinal=twin.ordinal
            )
        if finding not in waived:
            return Judgement(verdict=Verdict.LOOK_AGAIN, finding=finding)
    return _placing(piece, now, slot, waived)


def _placing(piece: Piece, now: Situation, slot: str, waived: frozenset[Finding]) -> Judgement:
    slots = slots_for(piece, now.sheet, waived)
    pointed = now.sheet.slot(slot) if slot else None
    if pointed is not None and Finding.SUCTION_SIDE in waived and is_suction(piece, pointed):
        # It goes beside what belongs there, and never in its stead.
        return _beyond(piece, now, pointed)
    if pointed is not None and pointed not in slots:
        return Judgement(
            verdict=Verdict.LOOK_AGAIN, finding=Finding.WRONG_PLACE, facts={"place": pointed.name}
        )
    if not slots:
        return Judgement(verdict=Verdict.LOOK_AGAIN, finding=Finding.NOT_ON_SHEET)
    for finding, facts in _doubts(piece, now, slots):
        if finding not in waived and now.checks[finding] is not Verdict.ACCEPTED:
            return Judgement(verdict=now.checks[finding], finding=finding, facts=facts)
    free = free_places([pointed] if pointed else slots, now.filled, for_a_piece=True)
    if not free:
        count = sum(each.count for each in slots)
        if Finding.ALL_RECORDED not in waived:
            return Judgement(
                verdict=now.checks[Finding.ALL_RECORDED],
                finding=Finding.ALL_RECORDED,
                facts={"count": count, "place": slots[0].name},
            )
        return _beyond(piece, now, pointed or slots[-1])
    if pointed is None and _asks_where(piece, now, slots, free):
        return Judgement(
            verdict=Verdict.LOOK_AGAIN, finding=Finding.WHICH_PLACE, choices=tuple(free)
        )
    chosen, ordinal = free[0]
    return Judgement(
        verdict=Verdict.ACCEPTED,
        finding=Finding.PLACED,
        slot=chosen,
        ordinal=ordinal,
        disputed=piece.elsewhere is not None,
    )


def _beyond(piece: Piece, now: Situation, slot: Slot) -> Judgement:
    """Put the piece into the slot beside all that is there: one more than the sheet says."""
    used = [each.ordinal for each in now.filled if each.slot == slot.id]
    return Judgement(
        verdict=Verdict.ACCEPTED,
        finding=Finding.PLACED,
        slot=slot.id,
        ordinal=max(slot.count, *used) + 1 if used else slot.count + 1,
        disputed=piece.elsewhere is not None,
    )


def is_suction(piece: Piece, slot: Slot) -> bool:
    """Tell whether this place lets air in through such a piece."""
    return slot.where in SUCTION and piece.kind in OPEN_PORT_KINDS


def slots_for(piece: Piece, sheet: Sheet, waived: frozenset[Finding] = frozenset()) -> list[Slot]:
    """Return the sheet's slots that take such a piece, in the order of the sheet."""
    of_kind = [
        slot for slot in sheet.slots if slot.kind == piece.kind and slot.need is not Need.TICK
    ]
    if piece.kind != FLUID_KIND or Finding.WRONG_FLUID in waived:
        return of_kind
    return [slot for slot in of_kind if same_words(slot.substance, piece.substance)]


def same_words(one: str, other: str) -> bool:
    """Compare a substance with its strength; only blanks and case may differ."""
    return "".join(one.split()).casefold() == "".join(other.split()).casefold()


def _stops(
    piece: Piece, now: Situation, slot: str
) -> Iterable[tuple[Finding, Mapping[str, str | int]]]:
    of_type = piece.circuit_type != now.sheet.circuit_type
    if of_type and (piece.kind == PACK_KIND or piece.circuit_type):
        yield (
            Finding.WRONG_TYPE,
            {"scanned": piece.circuit_type or piece.name, "wanted": now.sheet.circuit_type},
        )
    if piece.kind == FLUID_KIND and not slots_for(piece, now.sheet):
        wanted = [each.substance for each in now.sheet.slots if each.kind == FLUID_KIND]
        yield (
            Finding.WRONG_FLUID,
            {"scanned": piece.substance or piece.name, "wanted": wanted[0] if wanted else ""},
        )
    pointed = now.sheet.slot(slot) if slot else None
    if pointed is not None and is_suction(piece, pointed):
        yield Finding.SUCTION_SIDE, {"place": pointed.name}
    if piece.on_hold:
        yield Finding.ON_HOLD, {"notice": piece.on_hold}
    elif piece.in_notice:
        yield Finding.IN_NOTICE, {"notice": piece.in_notice}
    if piece.expiry is not None and piece.expiry < now.today:
        yield Finding.EXPIRED, {"expiry": piece.expiry.isoformat()}
    yield from _serial_stops(piece, now)


def _serial_stops(
    piece: Piece, now: Situation
) -> Iterable[tuple[Finding, Mapping[str, str | int]]]:
    if piece.serial is None:
        return
    key = (piece.product_id, piece.serial)
    if any((each.product_id, each.serial) == key for each in now.filled):
        yield Finding.SAME_SERIAL_HERE, {"serial": piece.serial}
    elif piece.opened:
        yield Finding.OPENED_EARLIER, {"serial": piece.serial, "circuit": piece.opened}
    elif piece.elsewhere is not None:
        found = {"serial": piece.serial, "circuit": piece.elsewhere}
        yield Finding.SAME_SERIAL_ELSEWHERE, found


def _doubts(
    piece: Piece, now: Situation, slots: Sequence[Slot]
) -> Iterable[tuple[Finding, Mapping[str, str | int]]]:
    needs = {slot.need for slot in slots}
    if Need.SERIAL in needs and piece.serial is None:
        yield Finding.SERIAL_NOT_IN_CODE, {}
    if Need.LOT in needs and piece.lot is None and piece.serial is None:
        yield Finding.LOT_NOT_IN_CODE, {}
    if piece.expiry is not None and now.today <= piece.expiry < now.planned_use_by:
        yield (
            Finding.SHORT_DATED,
            {"expiry": piece.expiry.isoformat(), "planned": now.planned_use_by.isoformat()},
        )
    if piece.like_notice and not piece.on_hold and not piece.in_notice:
        yield Finding.LIKE_NOTICE, {"notice": piece.like_notice}
    # What comes with the pack has never lain on a shelf.
    loose = any(not slot.inside_pack or slot.where is Where.PACK for slot in slots)
    # Somebody has looked at a lot of which a piece is in; the next piece of it is asked no more.
    looked_at = any(
        (each.product_id, each.lot) == (piece.product_id, piece.lot) for each in now.filled
    )
    if piece.never_received and loose and not looked_at:
        yield Finding.NEVER_RECEIVED, {}


def _same_scan(piece: Piece, now: Situation) -> InPlace | None:
    """Return the place filled by the very same code a moment ago."""
    if piece.serial is not None or piece.lot is None:
        return None
    for each in now.filled:
        if (
            each.product_id == piece.product_id
            and each.lot == piece.lot
            and each.scanned_at is not None
            and abs(now.at - each.scanned_at) < ONE_SCAN
        ):
            return each
    return None


def _asks_where(
    piece: Piece, now: Situation, slots: Sequence[Slot], free: Sequence[tuple[str, int]]
) -> bool:
    """A second lot of one kind asks where it goes, if there is more than one place left."""
    ids = {slot.id for slot in slots}
    lots = {each.lot for each in now.filled if each.slot in ids and each.lot is not None}
    return bool(lots - {piece.lot}) and len({slot_id for slot_id, _ in free}) > 1
