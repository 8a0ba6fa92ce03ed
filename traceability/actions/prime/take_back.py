"""Undo the last act of this device; and: a part was dropped, the next scan is the new one."""

import json
from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.actions.once import Asked, Done, Site, answer_once, ledger_of
from traceability.domain.circuits import Phase
from traceability.domain.events import Kind, Plain
from traceability.domain.moments import believed_moment
from traceability.domain.people import Right
from traceability.errors import NothingToUndo, UnknownCode, WrongState
from traceability.storage.circuits import Circuit, Part
from traceability.storage.items import Lot
from traceability.storage.lookup import last_act, locked_circuit, phase_of


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


def _priming(session: Session, site: Site, circuit_id: UUID, act: str) -> Circuit:
    circuit = locked_circuit(session, site.id, circuit_id)
    if circuit is None:
        raise UnknownCode(what="circuit", value=str(circuit_id))
    phase = phase_of(session, circuit).phase
    if phase != Phase.PRIMING:
        raise WrongState(number=circuit.number, state=phase, act=act)
    return circuit


def _undo(asked: Undo, session: Session, site: Site) -> Done:
    circuit = _priming(session, site, asked.circuit_id, "undo")
    ledger = ledger_of(asked, session, site)
    act = last_act(session, circuit, asked.sent.device_id, placed_only=True)
    if act is None:
        raise NothingToUndo
    at, noted = believed_moment(asked.at, now=ledger.now)
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


def _dropped(asked: Dropped, session: Session, site: Site) -> Done:
    circuit = _priming(session, site, asked.circuit_id, "dropped")
    ledger = ledger_of(asked, session, site)
    slot = asked.slot
    if not slot:
        act = last_act(session, circuit, asked.sent.device_id, placed_only=True)
        slot = str(json.loads(act.facts).get("slot", "")) if act else ""
    rows = (
        select(Part)
        .filter_by(
            site_id=site.id,
            circuit_id=circuit.id,
            slot=slot,
            valid_to=None,
            superseded_no=None,
        )
        .order_by(Part.recorded_no.desc(), Part.line.desc())
        .limit(1)
    )
    part = session.scalar(rows)
    if part is None:
        raise NothingToUndo
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
