"""What happened to a circuit, a run or a lot: events, found through the rows that they left."""

import json
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, Final
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.domain.corrections import in_force, spoken, words_of
from traceability.domain.events import Plain
from traceability.storage.circuits import CircuitPhase, CircuitPlace, Part, Signature
from traceability.storage.corrections import Correction, PatientMerge, RunEnd
from traceability.storage.holds import Hold
from traceability.storage.items import Lot
from traceability.storage.ledger import LedgerEvent
from traceability.storage.moves import ForeignList, Handover
from traceability.storage.people import Device, Person
from traceability.storage.projections.lives import sayings
from traceability.storage.runs import CircuitOnRun, RunPatient
from traceability.storage.scans import PrintOrder, TrolleyAct
from traceability.storage.shelf import CircuitWay, ShelfCheck, ToldByHand
from traceability.storage.waiting_acts import WaitingAct

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
    actor_id: UUID | None = None
    is_void: bool = False
    """A correction or a ruling says that it never happened."""
    is_corrected: bool = False
    """Something of it is believed otherwise now than it was entered."""


def happenings(
    session: Session, site_id: UUID, circuit_id: UUID, as_of_no: int | None = None
) -> list[Happening]:
    """Return the events about a circuit, newest first; as of a number, those entered by then.

    They are found through the rows that they left, so no body is searched.
    """
    numbers = _left(
        session,
        site_id,
        circuit_id,
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
        (ShelfCheck, ShelfCheck.circuit_id),
        (ToldByHand, ToldByHand.circuit_id),
        (CircuitWay, CircuitWay.circuit_id),
        (WaitingAct, WaitingAct.circuit_id),
        (Correction, Correction.subject_id),
    )
    return _judged(session, site_id, circuit_id, told(session, site_id, numbers, as_of_no))


def run_happenings(
    session: Session, site_id: UUID, run_id: UUID, as_of_no: int | None = None
) -> list[Happening]:
    """Return the events about a run, newest first: its circuits, its patient, its end."""
    numbers = _left(
        session,
        site_id,
        run_id,
        (CircuitOnRun, CircuitOnRun.run_id),
        (RunPatient, RunPatient.run_id),
        (RunEnd, RunEnd.run_id),
        (Correction, Correction.subject_id),
    )
    numbers |= _swaps(session, site_id, run_id)
    given = select(RunPatient.patient_id).filter_by(site_id=site_id, run_id=run_id)
    for patient_id in sorted(set(session.scalars(given))):
        numbers |= _left(
            session,
            site_id,
            patient_id,
            (PatientMerge, PatientMerge.patient_id),
            (PatientMerge, PatientMerge.into_id),
            (Correction, Correction.subject_id),
        )
    return _judged(session, site_id, run_id, told(session, site_id, numbers, as_of_no))


def _swaps(session: Session, site_id: UUID, run_id: UUID) -> set[int]:
    """Return the entries that put a part into a circuit while it was with the run."""
    rows = select(Part.recorded_no).join(
        CircuitOnRun,
        (CircuitOnRun.site_id == Part.site_id)
        & (CircuitOnRun.circuit_id == Part.circuit_id)
        & (CircuitOnRun.valid_from <= Part.valid_from)
        & (CircuitOnRun.valid_to.is_(None) | (CircuitOnRun.valid_to >= Part.valid_from)),
    )
    return set(
        session.scalars(
            rows.where(
                CircuitOnRun.site_id == site_id,
                CircuitOnRun.run_id == run_id,
                CircuitOnRun.superseded_no.is_(None),
            )
        )
    )


def _judged(
    session: Session, site_id: UUID, subject_id: UUID, found: list[Happening]
) -> list[Happening]:
    """Mark what corrections among the events found say of the others."""
    entered = {each.number for each in found}
    said = [each for each in sayings(session, site_id, subject_id) if each.number in entered]
    words = in_force(word for event in said for word in words_of(event))
    void = {number for word in words if word.void and not word.part for number in spoken(word)}
    # A ruling leaves the claim that stands as it was: only its being disputed ends.
    mended = (word for word in words if word.part or set(word.changes) - {"disputed"})
    changed = {number for word in mended for number in spoken(word)} - void
    return [
        replace(each, is_void=each.number in void, is_corrected=each.number in changed)
        for each in found
    ]


def lot_happenings(session: Session, site_id: UUID, lot: Lot) -> list[Happening]:
    """Return the events about a lot, newest first: where it went in and out, and its holds."""
    numbers = {lot.first_no} | _left(session, site_id, lot.id, (Part, Part.lot_id))
    numbers |= _left(session, site_id, lot.id, (Hold, Hold.subject_id))
    numbers |= _left(session, site_id, lot.product_id, (Hold, Hold.subject_id))
    return told(session, site_id, numbers)


def _left(session: Session, site_id: UUID, subject_id: UUID, *tables: tuple[Any, Any]) -> set[int]:
    """Return the numbers of entries that wrote or ended rows of a subject."""
    numbers: set[int] = set()
    for table, subject in tables:
        columns = [getattr(table, name) for name in ENTRIES if hasattr(table, name)]
        rows = session.execute(
            select(*columns).where(table.site_id == site_id, subject == subject_id)
        )
        numbers |= {number for row in rows for number in row if number}
    return numbers


def told(
    session: Session, site_id: UUID, numbers: set[int], as_of_no: int | None = None
) -> list[Happening]:
    """Return these events, newest first."""
    if as_of_no is not None:
        numbers = {number for number in numbers if number <= as_of_no}
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
            actor_id=event.actor_id,
        )
        for event, who, device in events
    ]
