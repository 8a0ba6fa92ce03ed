"""What happened to a circuit: its events, found through the rows that they left."""

import json
from dataclasses import dataclass
from datetime import datetime
from typing import Final
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.domain.events import Plain
from traceability.storage.circuits import CircuitPhase, CircuitPlace, Part, Signature
from traceability.storage.holds import Hold
from traceability.storage.ledger import LedgerEvent
from traceability.storage.moves import ForeignList, Handover
from traceability.storage.people import Device, Person
from traceability.storage.runs import CircuitOnRun
from traceability.storage.scans import PrintOrder, TrolleyAct

ENTRIES: Final = ("recorded_no", "superseded_no")


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
    for table, subject in (
        (Part, Part.circuit_id),
        (CircuitPhase, CircuitPhase.circuit_id),
        (CircuitPlace, CircuitPlace.circuit_id),
        (CircuitOnRun, CircuitOnRun.circuit_id),
        (Signature, Signature.circuit_id),
        (Hold, Hold.subject_id),
        (PrintOrder, PrintOrder.circuit_id),
        (TrolleyAct, TrolleyAct.circuit_id),
        (ForeignList, ForeignList.circuit_id),
        (Handover, Handover.circuit_id),
    ):
        columns = [getattr(table, name) for name in ENTRIES if hasattr(table, name)]
        rows = session.execute(
            select(*columns).where(table.site_id == site_id, subject == circuit_id)
        )
        numbers |= {number for row in rows for number in row if number}
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
