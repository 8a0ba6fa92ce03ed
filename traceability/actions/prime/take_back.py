"""Undo the last act of this device; and: a part was dropped, the next scan is the new one."""

import json
from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.actions.on_circuit import priming_since, the_circuit
from traceability.actions.once import Asked, Done, Site, answer_once, ledger_of
from traceability.actions.prime.steps import undo_step
from traceability.domain.events import Kind, Plain
from traceability.domain.moments import believed_moment
from traceability.domain.people import Right
from traceability.domain.steps import STEP_ACTS
from traceability.errors import NothingToUndo
from traceability.storage.circuits import Circuit, Part
from traceability.storage.items import Lot
from traceability.storage.trolley_acts import last_act, parts_of_act, parts_replaced_by


@dataclass(frozen=True, slots=True, kw_only=True)
class Undo(Asked):
    """Take back what this device did last on this prime."""

    kind: ClassVar[str] = "undo"
    right: ClassVar[Right | None] = Right.ACT
    circuit_id: UUID
    at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class Dropped(Asked):
    """A part fell or was spoilt before use: it stays on record, its place is empty again."""

    kind: ClassVar[str] = "dropped"
    right: ClassVar[Right | None] = Right.ACT
    circuit_id: UUID
    at: datetime
    slot: str = ""
    """Empty: the place of the part placed last by this device."""
    reason: str = "dropped"


def undo(asked: Undo, *, site: Site) -> Done:
    """Take the act back; the scan stays in the ledger, the part was never in.

    Raises:
        NothingToUndo: nothing of this device is left to take back. Nothing was written.
    """
    return answer_once(asked, _undo, site)


def dropped(asked: Dropped, *, site: Site) -> Done:
    """Empty the place; the dropped piece and the new one both stay on record.

    Raises:
        NothingToUndo: that place holds nothing. Nothing was written.
    """
    return answer_once(asked, _dropped, site)


def _undo(asked: Undo, session: Session, site: Site) -> Done:
    circuit = the_circuit(session, site, asked.circuit_id)
    priming_since(session, circuit, "undo")
    ledger = ledger_of(asked, session, site)
    act = last_act(session, circuit, asked.sent.device_id, placed_only=True)
    if act is None:
        raise NothingToUndo
    if act.code in STEP_ACTS:
        step = str(json.loads(act.facts)["step"])
        return undo_step(ledger, session, circuit, act.recorded_no, step, asked.at)
    _require_stands(session, circuit, act.recorded_no)
    at, noted = believed_moment(asked.at, now=ledger.now, not_before=circuit.begun_at)
    was = json.loads(act.facts)
    facts: dict[str, Plain] = {
        "name": was.get("name") or was.get("place"),
        "lot": was.get("lot"),
        "slot": was.get("slot"),
        "place": was.get("place"),
    }
    body = {
        "circuit": circuit.id,
        "undone_no": act.recorded_no,
        "verdict": "accepted",
        "code": "undone",
        "facts": facts,
        "scan": None,
        "device_at": asked.at,
        "cautions": noted,
    }
    number = ledger.append(Kind.PART_TAKEN_BACK, body, happened_at=at)
    return Done(first_no=number, last_no=number, subject=circuit.id, code="undone", facts=facts)


def _require_stands(session: Session, circuit: Circuit, number: int) -> None:
    """Refuse to take back what another act has built on since: it would tear that out as well."""
    mine = parts_of_act(session, circuit, number)
    if not mine:
        raise NothingToUndo
    back = {(row.slot, row.ordinal) for row in parts_replaced_by(session, circuit, number)}
    own = {row.part_id for row in mine}
    open_rows = select(Part).filter_by(
        site_id=circuit.site_id, circuit_id=circuit.id, valid_to=None, superseded_no=None
    )
    for row in session.scalars(open_rows):
        if (row.slot, row.ordinal) in back and row.part_id not in own:
            raise NothingToUndo


def _dropped_part(asked: Dropped, session: Session, circuit: Circuit) -> Part | None:
    """Return the piece meant: the last one in that place, or what this device put in last.

    Without a place only that last piece: a second press of the button finds it gone.
    """
    if asked.slot:
        rows = (
            select(Part)
            .filter_by(
                site_id=circuit.site_id,
                circuit_id=circuit.id,
                slot=asked.slot,
                valid_to=None,
                superseded_no=None,
            )
            .order_by(Part.recorded_no.desc(), Part.line.desc())
            .limit(1)
        )
        return session.scalar(rows)
    act = last_act(session, circuit, asked.sent.device_id, placed_only=True)
    if act is None:
        return None
    slot = json.loads(act.facts).get("slot")
    mine = parts_of_act(session, circuit, act.recorded_no)
    return next((row for row in reversed(mine) if row.slot == slot and not row.valid_to), None)


def _dropped(asked: Dropped, session: Session, site: Site) -> Done:
    circuit = the_circuit(session, site, asked.circuit_id)
    priming_since(session, circuit, "dropped")
    ledger = ledger_of(asked, session, site)
    part = _dropped_part(asked, session, circuit)
    if part is None:
        raise NothingToUndo
    slot = part.slot
    lot = part.lot_id and session.get(Lot, (site.id, part.lot_id))
    at, noted = believed_moment(asked.at, now=ledger.now, not_before=part.valid_from)
    facts: dict[str, Plain] = {"slot": slot, "lot": lot.text if lot else None}
    body = {
        "circuit": circuit.id,
        "part": part.part_id,
        "slot": slot,
        "ordinal": part.ordinal,
        "reason": asked.reason,
        "verdict": "accepted",
        "code": "dropped",
        "facts": facts,
        "scan": None,
        "device_at": asked.at,
        "cautions": noted,
    }
    number = ledger.append(Kind.PART_DROPPED, body, happened_at=at)
    return Done(first_no=number, last_no=number, subject=circuit.id, code="dropped", facts=facts)
