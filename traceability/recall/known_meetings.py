"""Which circuits were on which patients, when, and how sure that is, as of a ledger number."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final
from uuid import UUID

from sqlalchemy import Row, func, select
from sqlalchemy.orm import Session

from traceability.domain.circuits import Phase
from traceability.domain.events import Kind
from traceability.domain.shelves.reasons import Reason
from traceability.recall.cut import Cut
from traceability.recall.record import blocks
from traceability.storage.base import believed_at
from traceability.storage.circuits import CircuitPhase
from traceability.storage.corrections import PatientMerge, Restated
from traceability.storage.kept_apart import KeptApart
from traceability.storage.ledger import LedgerEvent
from traceability.storage.runs import CircuitOnRun, Patient, Run, RunPatient

__all__ = ["Claim", "claims_on", "patients_of", "runs_named"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Claim:
    """A circuit's time with a run."""

    circuit_id: UUID
    run_id: UUID
    taken_at: datetime
    flow_from: datetime | None
    end: datetime | None
    disputed: bool
    transferred: bool
    """The circuit left with the patient: what came after is beyond our record."""
    came_back: bool
    """It came back with its seal unbroken, re-checked by a named person: no blood met it."""

    @property
    def doubts(self) -> frozenset[Reason]:
        """Why it is not certain that the patient was on it all that time."""
        found = set()
        if self.flow_from is None:
            found.add(Reason.FLOW_ON_NOT_RECORDED)
        if self.disputed:
            found.add(Reason.CLAIM_DISPUTED)
        return frozenset(found)

    @property
    def possible_from(self) -> datetime:
        """From *taken* on everything is possible, until flow on is recorded for certain."""
        return self.flow_from if self.flow_from and not self.disputed else self.taken_at


_COLUMNS: Final[tuple[Any, ...]] = (
    CircuitOnRun.site_id,
    CircuitOnRun.circuit_id,
    CircuitOnRun.run_id,
    CircuitOnRun.valid_from,
    CircuitOnRun.flow_from,
    CircuitOnRun.valid_to,
    CircuitOnRun.disputed,
    CircuitOnRun.recorded_no,
    CircuitOnRun.line,
)


def claims_on(session: Session, circuit_ids: Iterable[UUID], cut: Cut) -> dict[UUID, list[Claim]]:
    """Return all claims on these circuits, by circuit, in order of time."""
    rows: list[Row[Any]] = []
    for block in blocks(sorted(circuit_ids)):
        of_circuits = select(*_COLUMNS).where(
            CircuitOnRun.site_id.in_(cut.sites),
            CircuitOnRun.circuit_id.in_(block),
            believed_at(CircuitOnRun, cut.number),
        )
        rows += session.execute(of_circuits).all()
    rows.sort(key=lambda row: (row.valid_from, row.recorded_no, row.line))
    last: dict[UUID, datetime] = {}
    for row in rows:
        if row.valid_to is not None:
            last[row.circuit_id] = max(row.valid_to, last.get(row.circuit_id, row.valid_to))
    left = _left(session, cut) if rows else frozenset()
    back = _came_back(session, rows, cut)
    found: dict[UUID, list[Claim]] = {}
    for row in rows:
        claim = Claim(
            circuit_id=row.circuit_id,
            run_id=row.run_id,
            taken_at=row.valid_from,
            flow_from=row.flow_from,
            end=row.valid_to,
            disputed=row.disputed,
            transferred=row.circuit_id in left and row.valid_to == last.get(row.circuit_id),
            came_back=(row.site_id, row.recorded_no, row.line) in back,
        )
        found.setdefault(row.circuit_id, []).append(claim)
    return found


def _left(session: Session, cut: Cut) -> frozenset[UUID]:
    rows = select(CircuitPhase.circuit_id).where(
        CircuitPhase.site_id.in_(cut.sites),
        CircuitPhase.phase == Phase.TRANSFERRED_OUT,
        CircuitPhase.valid_to.is_(None),
        believed_at(CircuitPhase, cut.number),
    )
    return frozenset(session.scalars(rows))


def _came_back(session: Session, rows: Sequence[Row[Any]], cut: Cut) -> set[tuple[UUID, int, int]]:
    """Return which claims ended by coming back unused; only one without flow on can have."""
    ended = [row for row in rows if row.flow_from is None and row.valid_to is not None]
    found: set[tuple[UUID, int, int]] = set()
    for block in blocks(sorted({row.recorded_no for row in ended})):
        kinds = (
            select(CircuitOnRun.site_id, CircuitOnRun.recorded_no, CircuitOnRun.line)
            .outerjoin(
                Restated,
                (Restated.site_id == CircuitOnRun.site_id)
                & (Restated.recorded_no == CircuitOnRun.recorded_no)
                & (Restated.line == CircuitOnRun.line),
            )
            .join(
                LedgerEvent,
                (LedgerEvent.site_id == CircuitOnRun.site_id)
                & (
                    LedgerEvent.number
                    == func.coalesce(Restated.origin_no, CircuitOnRun.recorded_no)
                ),
            )
            .where(
                CircuitOnRun.site_id.in_(cut.sites),
                CircuitOnRun.recorded_no.in_(block),
                LedgerEvent.kind == Kind.CAME_BACK_UNUSED,
            )
        )
        found |= {(row.site_id, row.recorded_no, row.line) for row in session.execute(kinds)}
    return found


def patients_of(session: Session, run_ids: Iterable[UUID], cut: Cut) -> dict[UUID, UUID]:
    """Return the patient's id of each run that has one, merges followed as known at the cut.

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
    return _as_known(session, found, cut) if found else {}


def _as_known(session: Session, found: Mapping[UUID, UUID], cut: Cut) -> dict[UUID, UUID]:
    """Return one id for each patient: of all entries with one reference, and through merges.

    Two entries with the same reference are one patient. The id is that of the first entry, so that
    it is the same in every answer.
    """
    merges = _merges(session, cut)
    ids = {*found.values(), *merges, *merges.values()}
    first = _first_of_reference(session, ids, cut)
    into = {first.get(one, one): first.get(other, other) for one, other in merges.items()}
    return {run: _end_of_chain(first.get(one, one), into) for run, one in found.items()}


def _first_of_reference(session: Session, ids: set[UUID], cut: Cut) -> dict[UUID, UUID]:
    """Return for each patient with a reference the first that was entered with it.

    Ids rise with time, so that who comes later never changes an earlier answer. A reference is a
    hospital's own: the same text at another site is somebody else's.
    """
    entered = (
        select(Patient.site_id, Patient.id, KeptApart.text)
        .join(KeptApart, KeptApart.id == Patient.kept_id)
        .where(Patient.site_id.in_(cut.sites))
    )
    texts: dict[UUID, tuple[UUID, str]] = {}
    for block in blocks(sorted(ids)):
        for row in session.execute(entered.where(Patient.id.in_(block))):
            if row.text is not None:
                texts[row.id] = row.site_id, row.text
    first: dict[tuple[UUID, str], UUID] = {}
    for some in blocks(sorted({text for _, text in texts.values()})):
        for row in session.execute(entered.where(KeptApart.text.in_(some))):
            key = row.site_id, row.text
            first[key] = min(row.id, first.get(key, row.id))
    return {one: first.get(key, one) for one, key in texts.items()}


def _merges(session: Session, cut: Cut) -> dict[UUID, UUID]:
    rows = select(PatientMerge.patient_id, PatientMerge.into_id).where(
        PatientMerge.site_id.in_(cut.sites),
        PatientMerge.valid_to.is_(None),
        believed_at(PatientMerge, cut.number),
    )
    return {row.patient_id: row.into_id for row in session.execute(rows)}


def _end_of_chain(patient: UUID, into: Mapping[UUID, UUID]) -> UUID:
    """Follow merges to the end; a loop is refused before it is recorded, and ends all the same."""
    passed = [patient]
    while (following := into.get(passed[-1])) is not None and following not in passed:
        passed.append(following)
    return passed[-1]


def runs_named(session: Session, run_ids: Iterable[UUID], cut: Cut) -> dict[UUID, tuple[UUID, str]]:
    """Return the sites and numbers of runs."""
    found: dict[UUID, tuple[UUID, str]] = {}
    for block in blocks(sorted(run_ids)):
        rows = select(Run.site_id, Run.id, Run.number).where(
            Run.site_id.in_(cut.sites), Run.id.in_(block)
        )
        found |= {row.id: (row.site_id, row.number) for row in session.execute(rows)}
    return found
