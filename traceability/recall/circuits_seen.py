"""The circuits of an answer as they stood at its cut: phase, place, runs."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import ColumnElement, Row, Select, func, select
from sqlalchemy.orm import InstrumentedAttribute, Session

from traceability.domain.circuits import Phase
from traceability.domain.events import Kind
from traceability.recall.cut import Cut
from traceability.recall.exposure import blocks
from traceability.storage.base import Link, believed_at
from traceability.storage.circuits import Circuit, CircuitPhase, CircuitPlace, Prime
from traceability.storage.corrections import Restated
from traceability.storage.ledger import LedgerEvent
from traceability.storage.moves import listed_whole
from traceability.storage.patients import known_as
from traceability.storage.runs import CircuitOnRun, Run, RunPatient
from traceability.storage.site import Place


@dataclass(frozen=True, slots=True, kw_only=True)
class OnRun:
    """A circuit's time with a run."""

    run_id: UUID
    run: str
    taken_at: datetime
    flow_from: datetime | None
    end: datetime | None
    disputed: bool
    transferred: bool
    """The circuit left with the patient: what came after is beyond our record."""
    came_back: bool
    """It came back with its seal unbroken, re-checked by a named person: no blood met it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CircuitSeen:
    """A circuit as it stood at the number asked for."""

    id: UUID
    site_id: UUID
    number: str
    circuit_type: str
    recorded: bool
    """False: contents not recorded, nor listed whole by the sending hospital."""
    begun_at: datetime
    primed_at: datetime | None
    primed_no: int | None
    """Number of the entry that ended the prime, corrected or not; None if it had not ended."""
    use_by: datetime | None
    phase: str
    phase_since: datetime | None
    reason: str
    place_id: UUID | None
    place: str
    on_runs: tuple[OnRun, ...]


def circuits(session: Session, ids: Iterable[UUID], cut: Cut) -> dict[UUID, CircuitSeen]:
    """Return what is needed of these circuits, by id."""
    found: dict[UUID, CircuitSeen] = {}
    for block in blocks(list(ids)):
        found |= _block(session, block, cut)
    return found


def patients_of(session: Session, run_ids: Iterable[UUID], cut: Cut) -> dict[UUID, UUID]:
    """Return the patient's id of each run that has one, by what was known of merges at the cut.

    The text stays where it is kept.
    """
    found: dict[UUID, UUID] = {}
    for block in blocks(sorted(run_ids)):
        rows = select(RunPatient.run_id, RunPatient.patient_id).where(
            RunPatient.site_id.in_(cut.sites),
            RunPatient.run_id.in_(block),
            RunPatient.valid_to.is_(None),
            believed_at(RunPatient, cut.number),
        )
        found |= {row.run_id: row.patient_id for row in session.execute(rows)}
    known = {
        patient: known_as(session, cut.sites, patient, cut.number) for patient in found.values()
    }
    return {run: known[patient] for run, patient in found.items()}


def _block(session: Session, block: Sequence[UUID], cut: Cut) -> dict[UUID, CircuitSeen]:
    phases = _by_circuit(
        session,
        _open(
            CircuitPhase,
            block,
            cut,
            CircuitPhase.phase,
            CircuitPhase.valid_from,
            CircuitPhase.reason,
        ),
    )
    places = _by_circuit(
        session,
        _open(CircuitPlace, block, cut, CircuitPlace.site_id, CircuitPlace.place_id),
    )
    primes = _by_circuit(session, _open(Prime, block, cut, Prime.valid_from, Prime.use_by))
    left = {key for key, row in phases.items() if row.phase == Phase.TRANSFERRED_OUT}
    runs = _runs(session, block, left, cut)
    # Read apart: joined, a database may begin at a place and read all that ever stood there.
    all_places = select(Place.site_id, Place.id, Place.name).where(Place.site_id.in_(cut.sites))
    names = {(each.site_id, each.id): each.name for each in session.execute(all_places)}
    rows = select(
        Circuit.id,
        Circuit.site_id,
        Circuit.number,
        Circuit.circuit_type,
        Circuit.contents,
        Circuit.begun_at,
        Circuit.prime_ended_no,
    ).where(Circuit.site_id.in_(cut.sites), Circuit.id.in_(block))
    found = {}
    listed = listed_whole(session, cut.sites, block, cut.number)
    for row in session.execute(rows):
        phase, place, prime = phases.get(row.id), places.get(row.id), primes.get(row.id)
        found[row.id] = CircuitSeen(
            id=row.id,
            site_id=row.site_id,
            number=row.number,
            circuit_type=row.circuit_type,
            recorded=row.contents == "recorded" or row.id in listed,
            begun_at=row.begun_at,
            primed_at=prime.valid_from if prime else None,
            primed_no=row.prime_ended_no if prime else None,
            use_by=prime.use_by if prime else None,
            phase=phase.phase if phase else "",
            phase_since=phase.valid_from if phase else None,
            reason=phase.reason if phase else "",
            place_id=place.place_id if place else None,
            place=names.get((place.site_id, place.place_id), "") if place else "",
            on_runs=tuple(runs.get(row.id, ())),
        )
    return found


def _runs(
    session: Session, block: Sequence[UUID], left: set[UUID], cut: Cut
) -> dict[UUID, list[OnRun]]:
    link = CircuitOnRun
    on_run = (
        select(
            link.circuit_id,
            link.run_id,
            Run.number,
            link.valid_from,
            link.flow_from,
            link.valid_to,
            link.disputed,
            LedgerEvent.kind,
        )
        .join(Run, (Run.site_id == link.site_id) & (Run.id == link.run_id))
        .outerjoin(
            Restated,
            (Restated.site_id == link.site_id)
            & (Restated.recorded_no == link.recorded_no)
            & (Restated.line == link.line),
        )
        .outerjoin(
            LedgerEvent,
            (LedgerEvent.site_id == link.site_id)
            & (LedgerEvent.number == func.coalesce(Restated.origin_no, link.recorded_no)),
        )
        .where(
            link.site_id.in_(cut.sites),
            link.circuit_id.in_(block),
            believed_at(link, cut.number),
        )
        .order_by(link.valid_from, link.recorded_no, link.line)
    )
    rows = session.execute(on_run).all()
    last: dict[UUID, datetime] = {}
    for row in rows:
        if row.circuit_id in left and row.valid_to is not None:
            last[row.circuit_id] = max(row.valid_to, last.get(row.circuit_id, row.valid_to))
    found: dict[UUID, list[OnRun]] = {}
    for row in rows:
        found.setdefault(row.circuit_id, []).append(
            OnRun(
                run_id=row.run_id,
                run=row.number,
                taken_at=row.valid_from,
                flow_from=row.flow_from,
                end=row.valid_to,
                disputed=row.disputed,
                transferred=row.valid_to is not None and row.valid_to == last.get(row.circuit_id),
                came_back=row.kind == Kind.CAME_BACK_UNUSED and row.flow_from is None,
            )
        )
    return found


def _by_circuit(session: Session, rows: Select[Any]) -> dict[UUID, Row[Any]]:
    return {row.circuit_id: row for row in session.execute(rows)}


def _open(
    link: type[Link],
    block: Sequence[UUID],
    cut: Cut,
    *columns: ColumnElement[Any] | InstrumentedAttribute[Any],
) -> Select[Any]:
    circuit_id = link.circuit_id  # type: ignore[attr-defined]
    return (
        select(circuit_id, *columns)
        .where(
            link.site_id.in_(cut.sites),
            circuit_id.in_(block),
            link.valid_to.is_(None),
            believed_at(link, cut.number),
        )
        .order_by(link.recorded_no + 0, link.line)  # sorted by itself, not through the key
    )
