"""What happened to a circuit: its events, found through the rows that they left."""

import json
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.domain.events import Plain
from traceability.storage.circuits import CircuitPhase, CircuitPlace, Part, Signature
from traceability.storage.holds import Hold
from traceability.storage.ledger import LedgerEvent
from traceability.storage.people import Device, Person
from traceability.storage.runs import CircuitOnRun
from traceability.storage.scans import PrintOrder, TrolleyAct


@dataclass(frozen=True, slots=True, kw_only=True)
class Happening:
    """One event as a list shows it."""

    number: int
    at: datetime
    recorded_at: datetime
    kind: str
    body: dict[str, Plain]
    who: str
    device: str


def happenings(session: Session, site_id: UUID, circuit_id: UUID) -> list[Happening]:
    """Return the events about a circuit, newest first.

    They are found through the rows that they left, so no body is searched.
    """
    numbers: set[int] = set()
    for link in (Part, CircuitPhase, CircuitPlace, CircuitOnRun):
        rows = session.execute(
            select(link.recorded_no, link.superseded_no).where(
                link.site_id == site_id, link.circuit_id == circuit_id
            )
        )
        for recorded_no, superseded_no in rows:
            numbers |= {recorded_no} | ({superseded_no} if superseded_no else set())
    numbers |= _other_numbers(session, site_id, circuit_id)
    if not numbers:
        return []
    events = session.execute(
        select(LedgerEvent, Person.name, Device.name)
        .outerjoin(
            Person, (Person.site_id == LedgerEvent.site_id) & (Person.id == LedgerEvent.actor_id)
        )
        .outerjoin(
            Device, (Device.site_id == LedgerEvent.site_id) & (Device.id == LedgerEvent.device_id)
        )
        .where(LedgerEvent.site_id == site_id, LedgerEvent.number.in_(sorted(numbers)))
        .order_by(LedgerEvent.number.desc())
    )
    return [
        Happening(
            number=event.number,
            at=event.happened_at,
            recorded_at=event.recorded_at,
            kind=event.kind,
            body=json.loads(event.body),
            who=who or "",
            device=device or "",
        )
        for event, who, device in events
    ]


def _other_numbers(session: Session, site_id: UUID, circuit_id: UUID) -> set[int]:
    numbers: set[int] = set()
    for column, where in (
        (Signature.recorded_no, Signature.circuit_id == circuit_id),
        (PrintOrder.recorded_no, PrintOrder.circuit_id == circuit_id),
        (TrolleyAct.recorded_no, TrolleyAct.circuit_id == circuit_id),
        (Hold.recorded_no, Hold.subject_id == circuit_id),
        (Hold.superseded_no, Hold.subject_id == circuit_id),
    ):
        numbers |= {number for number in session.scalars(select(column).where(where)) if number}
    return numbers
