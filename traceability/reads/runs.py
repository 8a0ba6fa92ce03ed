"""Patient runs: circuits with their times, and the patient for who may see one."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from sqlalchemy import Row, select
from sqlalchemy.orm import Session

from traceability.storage.base import believed_at
from traceability.storage.circuits import Circuit
from traceability.storage.corrections import RunEnd
from traceability.storage.kept_apart import KeptApart
from traceability.storage.ledger import LedgerEvent
from traceability.storage.patients import known_as, patient_of_run
from traceability.storage.runs import CircuitOnRun, Patient, Run


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


def run_facts(
    session: Session, site_id: UUID, number: str, as_of_no: int | None = None
) -> RunFacts | None:
    """Return the run of that number, or None; as of a ledger number, as it was known then."""
    run = session.scalar(select(Run).filter_by(site_id=site_id, number=number.upper()))
    if run is None or (as_of_no is not None and run.begun_no > as_of_no):
        return None
    return _facts(session, run, as_of_no)


def run_number(session: Session, site_id: UUID, run_id: UUID) -> str:
    """Return the number of a run by its id; empty if there is none."""
    run = session.get(Run, (site_id, run_id))
    return run.number if run else ""


def patient_text(session: Session, site_id: UUID, run_id: UUID) -> str:
    """Return the patient's reference; empty where none is known or it was erased.

    The caller holds the right to see it and records that it was shown.
    """
    given = patient_of_run(session, site_id, run_id)
    if given is None:
        return ""
    patient = session.get_one(Patient, (site_id, known_as(session, [site_id], given)))
    kept = patient.kept_id and session.get(KeptApart, patient.kept_id)
    return (kept.text if kept else None) or patient.temporary or ""


def _facts(session: Session, run: Run, as_of_no: int | None = None) -> RunFacts:
    rows = session.execute(
        select(CircuitOnRun, Circuit.number)
        .join(
            Circuit,
            (Circuit.site_id == CircuitOnRun.site_id) & (Circuit.id == CircuitOnRun.circuit_id),
        )
        .where(
            CircuitOnRun.site_id == run.site_id,
            CircuitOnRun.run_id == run.id,
            believed_at(CircuitOnRun, as_of_no),
        )
        .order_by(CircuitOnRun.valid_from, CircuitOnRun.recorded_no)
    )
    given = patient_of_run(session, run.site_id, run.id, as_of_no)
    patient = given and session.get_one(
        Patient, (run.site_id, known_as(session, [run.site_id], given, as_of_no))
    )
    found = rows.all()
    begun = run.begun_at if as_of_no is None else _begun_known(session, run, found)
    return RunFacts(
        id=run.id,
        number=run.number,
        begun_at=begun,
        ended_at=run.ended_at if as_of_no is None else _end_known(session, run, as_of_no),
        circuits=tuple(
            RunCircuit(
                circuit_id=row.circuit_id,
                number=number,
                taken_at=row.valid_from,
                flow_from=row.flow_from,
                until=row.valid_to,
                disputed=row.disputed,
            )
            for row, number in found
        ),
        patient_known=patient is not None,
        temporary=(patient.temporary or "") if patient else "",
    )


def _begun_known(session: Session, run: Run, rows: Sequence[Row[CircuitOnRun, str]]) -> datetime:
    """Return when the run began by the takes believed then; by its first entry if none was."""
    if rows:
        return min(row.valid_from for row, _ in rows)
    first = select(LedgerEvent.happened_at).filter_by(site_id=run.site_id, number=run.begun_no)
    return session.scalars(first).one()


def _end_known(session: Session, run: Run, as_of_no: int) -> datetime | None:
    rows = select(RunEnd.valid_from).where(
        RunEnd.site_id == run.site_id, RunEnd.run_id == run.id, believed_at(RunEnd, as_of_no)
    )
    return session.scalar(rows.limit(1))
