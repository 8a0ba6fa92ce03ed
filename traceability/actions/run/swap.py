"""Swap a part while the circuit is in use, and change a whole circuit within a run."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import ClassVar
from uuid import UUID

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from traceability.actions.once import Asked, Done, Site, answer_once, ledger_of
from traceability.actions.prime.scanned import Question, Scan, Understood, understand
from traceability.actions.run.flow import FlowOff, FlowOn, flow_off, flow_on
from traceability.actions.run.take import TakeCircuit, take_circuit
from traceability.domain.circuits import Phase
from traceability.domain.events import Kind, Plain
from traceability.domain.moments import Manner, believed_moment
from traceability.domain.parts import Known, PartState
from traceability.domain.people import Right
from traceability.errors import BadScan, UnknownCode, WrongMoment, WrongState
from traceability.storage.circuits import Circuit, Part
from traceability.storage.kept_apart import uuid7
from traceability.storage.lookup import locked_circuit, phase_of, sheet_of


@dataclass(frozen=True, slots=True, kw_only=True)
class SwapPart(Asked):
    """The person points at the place and scans only the new part."""

    kind: ClassVar[str] = "swap-part"
    right: ClassVar[Right | None] = Right.ACT
    circuit_id: UUID
    slot: str
    ordinal: int
    at: datetime
    text: str = ""
    """The new part's code; empty with `lot_not_readable` or when nothing goes in."""
    lot_not_readable: bool = False
    channel: str = "physical-keys"
    reason: str = ""


def swap_part(asked: SwapPart, *, site: Site) -> Done:
    """Old part out, new part in, at the same moment.

    Raises:
        UnknownCode: no such circuit, place or part there. BadScan: the code cannot be taken as
        this part, says why. WrongState: the circuit is still being primed, or gone.
        WrongMoment: before the old part went in. Nothing was written.
    """
    return answer_once(asked, _swap, site)


def _swap(asked: SwapPart, session: Session, site: Site) -> Done:
    circuit = locked_circuit(session, site.id, asked.circuit_id)
    if circuit is None:
        raise UnknownCode(what="circuit", value=str(asked.circuit_id))
    phase = phase_of(session, circuit).phase
    if phase in {Phase.PRIMING, Phase.DISCARDED, Phase.ENDED}:
        raise WrongState(number=circuit.number, state=phase, act="swap")
    old = session.scalar(
        select(Part).filter_by(
            site_id=site.id,
            circuit_id=circuit.id,
            slot=asked.slot,
            ordinal=asked.ordinal,
            valid_to=None,
            superseded_no=None,
        )
    )
    if old is None:
        raise UnknownCode(what="part in this place", value=asked.slot)
    if asked.at < old.valid_from:
        raise WrongMoment(moment=asked.at, limit=old.valid_from, side="before-part-in")
    ledger = ledger_of(asked, session, site)
    at, noted = believed_moment(asked.at, now=ledger.now, not_before=old.valid_from)
    today = at.astimezone(site.zone).date()
    new = _new_part(asked, old, circuit, session, site, today)
    facts: dict[str, Plain] = {"number": circuit.number, "slot": asked.slot}
    body: dict[str, object] = {
        "circuit": circuit.id,
        "slot": asked.slot,
        "ordinal": asked.ordinal,
        "out": old.part_id,
        "part_in": [],
        "reason": asked.reason,
        "verdict": "accepted",
        "code": "swapped",
        "scan": None,
        "device_at": asked.at,
        "cautions": noted,
    }
    if new is not None:
        row = new | {"part": uuid7(ledger.now), "slot": asked.slot}
        row["ordinal"] = _free_ordinal(session, circuit, asked) if old.stays else asked.ordinal
        body["part_in"] = [row]
        lot = row["lot"]
        facts["lot"] = None if lot is None else str(lot)
    body["facts"] = facts
    number = ledger.append(Kind.PART_SWAPPED, body, happened_at=at)
    return Done(
        first_no=number,
        last_no=number,
        subject=circuit.id,
        code="swapped",
        facts=facts,
        cautions=noted,
    )


def _free_ordinal(session: Session, circuit: Circuit, asked: SwapPart) -> int:
    """A new bag gets a place of its own: the fluid of the old one stays in the circuit."""
    highest = select(func.max(Part.ordinal)).filter_by(
        site_id=circuit.site_id, circuit_id=circuit.id, slot=asked.slot
    )
    return (session.scalar(highest) or 0) + 1


def _new_part(
    asked: SwapPart, old: Part, circuit: Circuit, session: Session, site: Site, today: date
) -> dict[str, object] | None:
    base: dict[str, object] = {
        "kind": old.kind,
        "known": Known.SAID,
        "product": None,
        "lot": None,
        "lot_id": None,
        "serial": None,
        "unit": None,
        "expiry": None,
        "expiry_day": None,
        "volume_ml": None,
        "leaves": False,
        "stays": old.stays,
        "pack": None,
        "disputed": False,
    }
    if asked.lot_not_readable:
        # Not the old part's product either: nobody has read whose the new one is.
        return base | {"state": PartState.LOT_NOT_READABLE}
    if not asked.text.strip():
        return None
    scan = Scan(text=asked.text, channel=asked.channel, chosen="as-read", counted=True)
    found = understand(scan, None, session, circuit, today)
    if isinstance(found, Question):
        raise BadScan(why=found.code, **found.facts)
    _require_fits(found, old, circuit, session, site)
    piece = found.piece
    return base | {
        "state": PartState.RECORDED if piece.lot or piece.serial else PartState.LOT_NOT_RECORDED,
        "known": Known.SCANNED,
        "product": found.product.id,
        "lot": piece.lot,
        "lot_id": found.lot_id,
        "serial": piece.serial,
        "unit": found.unit_id,
        "expiry": found.expiry_printed,
        "expiry_day": piece.expiry.isoformat() if piece.expiry else None,
        "disputed": piece.elsewhere is not None,
    }


def _require_fits(
    found: Understood, old: Part, circuit: Circuit, session: Session, site: Site
) -> None:
    sheet = sheet_of(session, site.id, circuit.circuit_type, circuit.sheet_version)
    slot = sheet.slot(old.slot) if sheet else None
    if found.piece.kind != old.kind:
        place = slot.name if slot else old.slot
        raise BadScan(why="wrong-place", place=place, name=found.piece.name)


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeOut(Asked):
    """Old circuit off, new one on, within one run; the time between is kept."""

    kind: ClassVar[str] = "change-out"
    right: ClassVar[Right | None] = Right.ACT
    old_circuit_id: UUID
    run_id: UUID
    new_number: str
    off_at: datetime
    on_at: datetime
    request_ids: tuple[UUID, UUID, UUID]
    """Ids of the three acts it consists of; the same on every repeat."""
    manner: Manner = Manner.PLANNED
    reason: str = ""
    by: UUID | None = None
    """Who goes on past what speaks against the new circuit; None: who is signed in."""


def change_out(asked: ChangeOut, *, site: Site) -> Done:
    """Take the new circuit for the run, take the old one off, and let flow on.

    Three acts, each safe to repeat: a call that was cut off is finished by sending it again. The
    new circuit is claimed first, so that a refusal leaves the old one on.

    Raises:
        what `take_circuit`, `flow_off` and `flow_on` raise for planned acts; before the first of
        them nothing was written.
    """
    if asked.on_at < asked.off_at:
        raise WrongMoment(moment=asked.on_at, limit=asked.off_at, side="before-off")
    sents = [
        type(asked.sent)(
            device_id=asked.sent.device_id, actor_id=asked.sent.actor_id, request_id=request_id
        )
        for request_id in asked.request_ids
    ]
    taken = take_circuit(
        TakeCircuit(
            sent=sents[0],
            number=asked.new_number,
            at=min(asked.off_at, asked.on_at),
            manner=asked.manner,
            run_id=asked.run_id,
            reason=asked.reason,
            by=asked.by,
        ),
        site=site,
    )
    if taken.subject is None:
        raise UnknownCode(what="circuit", value=asked.new_number)
    flow_off(
        FlowOff(
            sent=sents[1],
            circuit_id=asked.old_circuit_id,
            run_id=asked.run_id,
            at=asked.off_at,
            manner=Manner.PLANNED,
        ),
        site=site,
    )
    on = flow_on(
        FlowOn(
            sent=sents[2],
            circuit_id=taken.subject,
            run_id=asked.run_id,
            at=asked.on_at,
            manner=Manner.PLANNED,
        ),
        site=site,
    )
    return Done(
        first_no=taken.first_no,
        last_no=on.last_no,
        subject=taken.subject,
        code="changed",
        facts={"number": asked.new_number},
        cautions=(*taken.cautions, *on.cautions),
    )
