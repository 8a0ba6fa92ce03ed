"""Acts from devices' queues that wait for a person."""

import json
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from traceability.domain.circuits import Phase
from traceability.storage.circuits import Circuit
from traceability.storage.kept_apart import KeptApart
from traceability.storage.ledger import LedgerEvent
from traceability.storage.lookup import phase_of
from traceability.storage.people import Device, Person
from traceability.storage.waiting_acts import WaitingAct


@dataclass(frozen=True, slots=True, kw_only=True)
class WaitingFacts:
    """One act that a device kept, and why it waits."""

    waits_no: int
    circuit_id: UUID | None
    circuit: str
    priming: bool
    """Whether its prime still goes on."""
    what: str
    said: dict[str, str]
    text: str
    """What was scanned; empty if there is none, or it may not be kept."""
    why: tuple[str, ...]
    at: datetime
    """By the device's own clock."""
    came_at: datetime
    request_id: UUID
    who: str
    device: str


def waiting_acts(session: Session, site_id: UUID) -> list[WaitingFacts]:
    """Return all that wait, oldest first."""
    rows = session.execute(
        select(WaitingAct, LedgerEvent, Device.name, Person.name.label("person"), KeptApart.text)
        .join(
            LedgerEvent,
            (LedgerEvent.site_id == WaitingAct.site_id)
            & (LedgerEvent.number == WaitingAct.recorded_no),
        )
        .outerjoin(
            Device, (Device.site_id == WaitingAct.site_id) & (Device.id == WaitingAct.device_id)
        )
        .outerjoin(
            Person, (Person.site_id == WaitingAct.site_id) & (Person.id == WaitingAct.person_id)
        )
        .outerjoin(KeptApart, KeptApart.id == WaitingAct.kept_id)
        .where(WaitingAct.site_id == site_id, WaitingAct.superseded_no.is_(None))
        .order_by(WaitingAct.recorded_no)
    ).all()
    return [_facts(session, *row) for row in rows]


def how_many_wait(session: Session, site_id: UUID) -> int:
    """Return how many acts wait for a person."""
    rows = select(func.count()).where(
        WaitingAct.site_id == site_id, WaitingAct.superseded_no.is_(None)
    )
    return session.scalar(rows) or 0


def _facts(
    session: Session,
    row: WaitingAct,
    event: LedgerEvent,
    device: str | None,
    person: str | None,
    text: str | None,
) -> WaitingFacts:
    circuit = session.get(Circuit, (row.site_id, row.circuit_id)) if row.circuit_id else None
    named = json.loads(event.body)["facts"]["number"]
    return WaitingFacts(
        waits_no=row.recorded_no,
        circuit_id=row.circuit_id,
        circuit=circuit.number if circuit else str(named),
        priming=circuit is not None and phase_of(session, circuit).phase == Phase.PRIMING,
        what=row.what,
        said=json.loads(row.said),
        text=text or "",
        why=tuple(json.loads(row.why)),
        at=row.valid_from,
        came_at=event.recorded_at,
        request_id=event.request_id,
        who=person or "",
        device=device or "",
    )
