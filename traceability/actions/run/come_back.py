"""A circuit that was taken comes back: a wrong scan, or unused with its seal unbroken."""

from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.actions.on_circuit import the_circuit
from traceability.actions.once import Asked, Done, Site, answer_once, entered, ledger_of
from traceability.actions.run.take import holder_of
from traceability.domain.circuits import Phase
from traceability.domain.events import Kind
from traceability.domain.moments import believed_moment
from traceability.domain.people import Right
from traceability.errors import WrongState
from traceability.storage.circuits import Circuit, CircuitPlace
from traceability.storage.lookup import is_only_circuit, phase_before, phase_of


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeBack(Asked):
    """A wrong scan: the circuit was never taken. The scan stays on record."""

    kind: ClassVar[str] = "take-back"
    right: ClassVar[Right | None] = None
    circuit_id: UUID
    at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class CameBackUnused(Asked):
    """Seal unbroken and re-checked by a named person: ready again with its old use-by."""

    kind: ClassVar[str] = "came-back-unused"
    right: ClassVar[Right | None] = Right.ACT
    circuit_id: UUID
    place_id: UUID
    at: datetime


def take_back(asked: TakeBack, *, site: Site) -> Done:
    """Withdraw the take; the circuit stands where it stood.

    Raises:
        WrongState: blood has flowed, or it was not taken. Nothing was written.
    """
    return answer_once(asked, _take_back, site)


def came_back_unused(asked: CameBackUnused, *, site: Site) -> Done:
    """Record that the circuit is back on the shelf.

    Raises:
        WrongState: it was not away, or blood has flowed. Nothing was written.
    """
    return answer_once(asked, _came_back, site)


def _take_back(asked: TakeBack, session: Session, site: Site) -> Done:
    return _back(asked, asked.circuit_id, asked.at, None, session, site)


def _came_back(asked: CameBackUnused, session: Session, site: Site) -> Done:
    return _back(asked, asked.circuit_id, asked.at, asked.place_id, session, site)


def _back(
    asked: TakeBack | CameBackUnused,
    circuit_id: UUID,
    device_at: datetime,
    place_id: UUID | None,
    session: Session,
    site: Site,
) -> Done:
    circuit = the_circuit(session, site, circuit_id)
    phase, before = phase_of(session, circuit), phase_before(session, circuit)
    holder = holder_of(session, circuit)
    unused = before is not None and before.phase == Phase.PRIMED
    away = phase.phase == Phase.TAKEN and holder is not None and holder.flow_from is None
    if not away or holder is None or before is None or not (unused or place_id is None):
        raise WrongState(number=circuit.number, state=phase.phase, act="come-back")
    ledger = ledger_of(asked, session, site)
    at, noted = believed_moment(device_at, now=ledger.now, not_before=holder.valid_from)
    kind = Kind.TAKE_WITHDRAWN if place_id is None else Kind.CAME_BACK_UNUSED
    body = {
        "circuit": circuit.id,
        "run": holder.run_id,
        "place": place_id or _last_place(session, circuit, before.valid_to),
        # As it was before the scan: a used circuit never becomes ready by a scan taken back.
        "phase": before.phase,
        "phase_reason": before.reason,
        "run_ends": is_only_circuit(session, holder),
        "device_at": device_at,
        "cautions": noted,
    }
    return entered(
        ledger,
        kind,
        body,
        at=at,
        subject=circuit.id,
        code="taken-back" if place_id is None else "came-back",
        facts={"number": circuit.number},
    )


def _last_place(session: Session, circuit: Circuit, taken_at: datetime | None) -> UUID | None:
    """Return where it stood when it was taken; None if it stood nowhere, having been used."""
    rows = (
        select(CircuitPlace.place_id)
        .filter_by(site_id=circuit.site_id, circuit_id=circuit.id, superseded_no=None)
        .where(CircuitPlace.valid_to >= taken_at)
        .order_by(CircuitPlace.recorded_no.desc(), CircuitPlace.line.desc())
        .limit(1)
    )
    return session.scalar(rows)
