"""A piece more than the sheet asks for is put into a running circuit: connector, tap, filter.

Found by a recall like any other part. A port on the suction side still warns.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar
from uuid import UUID

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from traceability.actions.on_circuit import require_goes_past, the_circuit
from traceability.actions.on_run import moment_within
from traceability.actions.once import Asked, Done, Site, answer_once, entered, ledger_of
from traceability.actions.part_rows import NOT_READ, as_read
from traceability.actions.prime.known_of import known_of
from traceability.actions.prime.scanned import Question, Scan, understand
from traceability.domain.at_the_run import BEDSIDE_SLOT, EQUIPMENT_KINDS, RUN_PART_KINDS
from traceability.domain.circuits import Phase
from traceability.domain.events import Kind
from traceability.domain.moments import Manner
from traceability.domain.parts import UNKNOWN_KIND, Known, PartState
from traceability.domain.people import Right
from traceability.domain.sheets import Slot
from traceability.domain.swap_checks import against_swap, right_to_go_on
from traceability.domain.trolley import FLUID_KIND, PACK_KIND, Finding, Piece
from traceability.errors import BadScan, BadValue, UnknownCode, WrongState
from traceability.storage.circuits import Circuit, CircuitPhase, Part
from traceability.storage.kept_apart import keep_apart, uuid7
from traceability.storage.lookup import in_place, phase_of, sheet_of

OVER = frozenset({Phase.ENDED, Phase.DISCARDED, Phase.TRANSFERRED_OUT, Phase.KEPT})
ELSEWHERE = (PACK_KIND, FLUID_KIND, *RUN_PART_KINDS, *EQUIPMENT_KINDS)
"""Kinds that are recorded by an act of their own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AddPart(Asked):
    """The piece is in; nothing came out for it."""

    kind: ClassVar[str] = "add-part"
    right: ClassVar[Right | None] = Right.ACT
    circuit_id: UUID
    slot: str = BEDSIDE_SLOT
    """The place of the sheet beside which it sits, or "bedside"."""
    at: datetime
    text: str = ""
    part_kind: str = ""
    """What it is, where its code does not say: needed if nothing was scanned."""
    lot_not_readable: bool = False
    channel: str = "physical-keys"
    reading: str = ""
    manner: Manner = Manner.PLANNED
    reason: str = ""
    by: UUID | None = None


def add_part(asked: AddPart, *, site: Site) -> Done:
    """Record the piece from `at` on.

    Raises:
        UnknownCode: no such circuit or place. WrongState: it is being primed: scan it at the
        trolley. BadValue: nothing says what it is. Planned acts only: BadScan, CautionsFirst,
        NotAllowed, WrongMoment. Nothing was written.
    """
    return answer_once(asked, _add, site)


def _add(asked: AddPart, session: Session, site: Site) -> Done:
    circuit = the_circuit(session, site, asked.circuit_id)
    phase = phase_of(session, circuit)
    if phase.phase == Phase.PRIMING:
        raise WrongState(number=circuit.number, state=phase.phase, act="add")
    sheet = sheet_of(session, site.id, circuit.circuit_type, circuit.sheet_version)
    slot = sheet.slot(asked.slot) if sheet else None
    if slot is None and asked.slot != BEDSIDE_SLOT:
        raise UnknownCode(what="place in this circuit", value=asked.slot)
    ledger = ledger_of(asked, session, site)
    at, noted = moment_within(
        asked.at,
        asked.manner,
        now=ledger.now,
        since=circuit.begun_at,
        since_side="before-prime",
        until=ended_at(session, circuit, phase),
        until_side="circuit-ended",
    )
    row, cautions, kept = _row(asked, slot, circuit, session, site, at)
    row |= {
        "part": uuid7(ledger.now),
        "slot": asked.slot,
        "ordinal": free_ordinal(session, circuit, asked.slot, slot.count if slot else 0),
    }
    noted += cautions
    body = {
        "circuit": circuit.id,
        **row,
        "kept": kept,
        "manner": asked.manner,
        "reason": asked.reason,
        "by": asked.by or asked.sent.actor_id,
        "facts": {"name": row["kind"], "lot": row["lot"]},
        "device_at": asked.at,
        "cautions": noted,
    }
    return entered(
        ledger,
        Kind.PART_ADDED,
        body,
        at=at,
        subject=circuit.id,
        facts={"number": circuit.number},
        disputed=row["disputed"] is True,
    )


def ended_at(session: Session, circuit: Circuit, phase: CircuitPhase) -> datetime | None:
    """Return when the circuit was over; None while it is not. Kept for inspection is over too."""
    if phase.phase not in OVER:
        return None
    rows = select(func.max(CircuitPhase.valid_to)).where(
        CircuitPhase.site_id == circuit.site_id,
        CircuitPhase.circuit_id == circuit.id,
        CircuitPhase.phase.not_in([each.value for each in OVER]),
        CircuitPhase.superseded_no.is_(None),
    )
    return session.scalar(rows) or phase.valid_from


def free_ordinal(session: Session, circuit: Circuit, slot: str, count: int) -> int:
    """Return a place of its own beside what is or was in the slot and what the sheet asks for."""
    highest = select(func.max(Part.ordinal)).filter_by(
        site_id=circuit.site_id, circuit_id=circuit.id, slot=slot
    )
    return max(session.scalar(highest) or 0, count) + 1


def is_inside(session: Session, circuit: Circuit, piece: Piece) -> bool:
    """Tell whether this very unit is in the circuit already."""
    inside = in_place(session, circuit) if piece.serial else []
    return any(
        (each.product_id, each.serial) == (piece.product_id, piece.serial) for each in inside
    )


def _row(
    asked: AddPart, slot: Slot | None, circuit: Circuit, session: Session, site: Site, at: datetime
) -> tuple[dict[str, object], tuple[str, ...], dict[str, str] | None]:
    if asked.lot_not_readable or not asked.text.strip():
        if not asked.part_kind.strip():
            raise BadValue(field="what it is", value="", why="empty")
        state = PartState.LOT_NOT_READABLE if asked.lot_not_readable else PartState.LOT_NOT_RECORDED
        return _unread(asked, state), (), None
    today = at.astimezone(site.zone).date()
    chosen = asked.reading or ("" if asked.manner.refusable else "as-read")
    scan = Scan(text=asked.text, channel=asked.channel, chosen=chosen, counted=True)
    found = understand(scan, None, session, circuit, today)
    if isinstance(found, Question):
        if asked.manner.refusable:
            raise BadScan(why=found.code, **found.facts)
        kept = keep_apart(session, asked.text, at=at) if found.keeps_text else None
        return _unread(asked, PartState.LOT_NOT_RECORDED), ("contents-not-recorded",), kept
    piece = known_of(session, site, found, at)
    findings = list(against_swap(piece, slot, today))
    if piece.kind in ELSEWHERE:
        if asked.manner.refusable:
            raise BadValue(field=piece.name, value=piece.kind, why="not-for-adding")
        findings.insert(0, Finding.WRONG_PLACE)
    twice = is_inside(session, circuit, piece)
    if twice and asked.manner.refusable:
        raise BadScan(why=Finding.SAME_SERIAL_HERE, serial=piece.serial)
    if findings and asked.manner.refusable:
        require_goes_past(asked, session, circuit, findings, right_to_go_on(findings))
    disputed = twice or piece.elsewhere is not None
    return {**NOT_READ, **as_read(found), "disputed": disputed}, tuple(findings), None


def _unread(asked: AddPart, state: PartState) -> dict[str, object]:
    kind = asked.part_kind.strip() or UNKNOWN_KIND
    return {**NOT_READ, "kind": kind, "state": state, "known": Known.SAID}
