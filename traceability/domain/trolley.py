"""What a scan at the trolley comes to: accepted, look again, or stop.

One pure function over the sheet, what is in already and what was scanned. The order of its checks
is the order of danger. Source of the rules: common practice, no source; settled in review with
people of the trade (stop, look again, go on, by situation).
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from enum import StrEnum
from typing import Final
from uuid import UUID

from traceability.domain.in_place import InPlace, free_places
from traceability.domain.moments import ONE_SCAN
from traceability.domain.parts import Known
from traceability.domain.people import Right
from traceability.domain.sheets import OPEN_PORT_KINDS, SUCTION, Need, Sheet, Slot, Where

PACK_KIND: Final = "circuit-pack"
FLUID_KIND: Final = "fluid"


class Verdict(StrEnum):
    """The three answers of the strip."""

    ACCEPTED = "accepted"
    LOOK_AGAIN = "look-again"
    STOP = "stop"


class Finding(StrEnum):
    """Why. Stable codes; the words are elsewhere."""

    PLACED = "placed"
    SAME_SCAN = "same-scan"
    WRONG_TYPE = "wrong-type"
    WRONG_FLUID = "wrong-fluid"
    SUCTION_SIDE = "suction-side"
    ON_HOLD = "on-hold"
    EXPIRED = "expired"
    SAME_SERIAL_HERE = "same-serial-here"
    SAME_SERIAL_ELSEWHERE = "same-serial-elsewhere"
    OTHER_DEVICE = "other-device-same-lot"
    NOT_ON_SHEET = "not-on-sheet"
    WRONG_PLACE = "wrong-place"
    LOT_NOT_IN_CODE = "lot-not-in-code"
    SERIAL_NOT_IN_CODE = "serial-not-in-code"
    SHORT_DATED = "short-dated"
    WHICH_PLACE = "which-place"
    ALL_RECORDED = "all-recorded"
    IN_NOTICE = "in-notice"
    """An open notice names this very lot or serial, and nobody has put it on hold yet."""
    LIKE_NOTICE = "like-notice"
    """An open notice may mean it: the text is alike, or what the notice asks for is not known."""
    OPENED_EARLIER = "opened-earlier"
    """This very piece was put into a circuit before and is out of it again."""
    NEVER_RECEIVED = "never-received"
    """Its product is counted here, and its lot was neither received nor counted."""


WAY_ON: Final[Mapping[Finding, Right]] = {
    Finding.WRONG_TYPE: Right.PAST_STOP,
    Finding.WRONG_FLUID: Right.PAST_STOP,
    Finding.SUCTION_SIDE: Right.PAST_STOP,
    Finding.ON_HOLD: Right.PAST_STOP,
    Finding.EXPIRED: Right.PAST_DATE,
    Finding.SAME_SERIAL_ELSEWHERE: Right.ACT,
    Finding.OTHER_DEVICE: Right.ACT,
    Finding.SHORT_DATED: Right.ACT,
    Finding.ALL_RECORDED: Right.ACT,
    Finding.SERIAL_NOT_IN_CODE: Right.ACT,
    Finding.IN_NOTICE: Right.PAST_STOP,
    Finding.LIKE_NOTICE: Right.ACT,
    Finding.OPENED_EARLIER: Right.PAST_DATE,
    Finding.NEVER_RECEIVED: Right.ACT,
}
"""Which right goes on past a finding, with a reason. What is not here has no way on."""

_STOPS: Final = (
    Finding.WRONG_TYPE,
    Finding.WRONG_FLUID,
    Finding.SUCTION_SIDE,
    Finding.ON_HOLD,
    Finding.IN_NOTICE,
    Finding.EXPIRED,
    Finding.SAME_SERIAL_HERE,
    Finding.SAME_SERIAL_ELSEWHERE,
    Finding.OPENED_EARLIER,
)
DEFAULT_CHECKS: Final[Mapping[Finding, Verdict]] = {
    finding: Verdict.STOP if finding in _STOPS else Verdict.LOOK_AGAIN for finding in Finding
}
"""How hard each check is while the unit's policy says nothing else (`domain.scan_checks`)."""


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
    if pointed is not None and Finding.SUCTION_SIDE in waived and _is_suction(piece, pointed):
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


def _is_suction(piece: Piece, slot: Slot) -> bool:
    return slot.where in SUCTION and piece.kind in OPEN_PORT_KINDS


def against_swap(piece: Piece, slot: Slot | None, today: date) -> tuple[Finding, ...]:
    """Return all that speaks against putting this piece into a place of a running circuit.

    Everything at once, the most dangerous first: nobody at a bedside reads one list after another.
    """
    same_fluid = slot is None or same_words(slot.substance, piece.substance)
    suction = slot is not None and _is_suction(piece, slot)
    checks = {
        Finding.WRONG_FLUID: piece.kind == FLUID_KIND and not same_fluid,
        Finding.SUCTION_SIDE: suction,
        Finding.ON_HOLD: bool(piece.on_hold),
        Finding.IN_NOTICE: bool(piece.in_notice),
        Finding.EXPIRED: piece.expiry is not None and piece.expiry < today,
        Finding.SAME_SERIAL_ELSEWHERE: piece.elsewhere is not None,
    }
    return tuple(finding for finding, applies in checks.items() if applies)


def right_to_go_on(findings: Iterable[Finding]) -> Right:
    """Return the right that goes past all of these: the strongest that one of them needs."""
    needed = {WAY_ON[finding] for finding in findings}
    ranked = (Right.PAST_STOP, Right.PAST_DATE)
    return next((right for right in ranked if right in needed), Right.ACT)


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
    if pointed is not None and _is_suction(piece, pointed):
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
    if piece.never_received and loose:
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
