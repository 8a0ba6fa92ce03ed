"""Patient runs: circuits with their times, and the patient for who may see one."""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.storage.base import believed_at
from traceability.storage.circuits import Circuit
from traceability.storage.kept_apart import KeptApart
from traceability.storage.runs import CircuitOnRun, Patient, Run, RunPatient


@dataclass(frozen=True, slots=True, kw_only=True)
class RunCircuit:
    """One circuit's time on the run."""

    circuit_id: UUID
    number: str
    taken_at: datetime
    flow_from: datetime | None
    until: datetime | None
    disputed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class RunFacts:
    """One run."""

    id: UUID
    number: str
    begun_at: datetime
    ended_at: datetime | None
    circuits: tuple[RunCircuit, ...]
    patient_known: bool
    """Whether any identity was entered; the text itself is a read of its own."""
    temporary: str
    """ "TEMP-7" where the identity is a temporary one."""

    @property
    def on_now(self) -> tuple[RunCircuit, ...]:
        """Circuits that are on the run now."""
        return tuple(each for each in self.circuits if each.until is None)


def runs(session: Session, site_id: UUID, *, limit: int = 200) -> list[RunFacts]:
    """Return the newest runs, those going on first."""
    rows = (
        select(Run)
        .filter_by(site_id=site_id)
        .order_by(Run.ended_at.is_not(None), Run.begun_at.desc())
        .limit(limit)
    )
    return [_facts(session, run) for run in session.scalars(rows)]


def run_facts(session: Session, site_id: UUID, number: str) -> RunFacts | None:
    """Return the run of that number, or None."""
    run = session.scalar(select(Run).filter_by(site_id=site_id, number=number.upper()))
    return None if run is None else _facts(session, run)


def run_number(session: Session, site_id: UUID, run_id: UUID) -> str:
    """Return the number of a run by its id; empty if there is none."""
    run = session.get(Run, (site_id, run_id))
    return run.number if run else ""


def patient_text(session: Session, site_id: UUID, run_id: UUID) -> str:
    """Return the patient's reference; empty where none is known or it was erased.

    The caller holds the right to see it and records that it was shown.
    """
    rows = (
        select(KeptApart.text, Patient.temporary)
        .select_from(RunPatient)
        .join(
            Patient,
            (Patient.site_id == RunPatient.site_id) & (Patient.id == RunPatient.patient_id),
        )
        .outerjoin(KeptApart, KeptApart.id == Patient.kept_id)
        .where(
            RunPatient.site_id == site_id,
            RunPatient.run_id == run_id,
            RunPatient.valid_to.is_(None),
            believed_at(RunPatient, None),
        )
        .order_by(RunPatient.recorded_no.desc())
        .limit(1)
    )
    found = session.execute(rows).first()
    return "" if found is None else (found.text or found.temporary or "")


def _facts(session: Session, run: Run) -> RunFacts:
    rows = session.execute(
        select(CircuitOnRun, Circuit.number)
        .join(
            Circuit,
            (Circuit.site_id == CircuitOnRun.site_id) & (Circuit.id == CircuitOnRun.circuit_id),
        )
        .where(
            CircuitOnRun.site_id == run.site_id,
            CircuitOnRun.run_id == run.id,
            believed_at(CircuitOnRun, None),
        )
        .order_by(CircuitOnRun.valid_from, CircuitOnRun.recorded_no)
    )
    patient = session.scalar(
        select(Patient)
        .join(
            RunPatient,
            (RunPatient.site_id == Patient.site_id) & (RunPatient.patient_id == Patient.id),
        )
        .where(
            RunPatient.site_id == run.site_id,
            RunPatient.run_id == run.id,
            RunPatient.valid_to.is_(None),
            believed_at(RunPatient, None),
        )
    )
    return RunFacts(
        id=run.id,
        number=run.number,
        begun_at=run.begun_at,
        ended_at=run.ended_at,
        circuits=tuple(
            RunCircuit(
                circuit_id=row.circuit_id,
                number=number,
                taken_at=row.valid_from,
                flow_from=row.flow_from,
                until=row.valid_to,
                disputed=row.disputed,
            )
            for row, number in rows
        ),
        patient_known=patient is not None,
        temporary=(patient.temporary or "") if patient else "",
    )
