"""Patients of a trace, without their texts, and what a person entered."""

from collections.abc import Sequence
from uuid import UUID

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from traceability.domain.trace import Link, Listed, Node, Sort, Sure
from traceability.recall.asked_about import Subject
from traceability.recall.cut import Cut
from traceability.recall.record import blocks
from traceability.storage.base import believed_at
from traceability.storage.corrections import PatientMerge
from traceability.storage.ledger import LedgerEvent
from traceability.storage.runs import Patient, Run, RunPatient


def patients_met(
    session: Session, subject: Subject, shown: Sequence[UUID], runs: Sequence[UUID], cut: Cut
) -> tuple[Listed, list[Link]]:
    """Return the patients of the runs shown, and how many there are over all runs."""
    of_run = patients_of_runs(session, runs, cut)
    mine = [(run, of_run[run]) for run in shown if run in of_run]
    alias = dict.fromkeys(subject.ids, subject.ids[0]) if _is_patient(subject) else {}
    temporary, numbers = _temporary(session, {each for _, each in mine}, cut), {}
    rows = select(Run.id, Run.number).where(Run.site_id.in_(cut.sites), Run.id.in_(list(shown)))
    if shown:
        numbers = {row.id: row.number for row in session.execute(rows)}
    nodes: dict[UUID, Node] = {}
    links = []
    for run, patient in mine:
        patient_id = alias.get(patient, patient)
        nodes.setdefault(
            patient_id,
            Node(
                sort=Sort.PATIENT,
                id=str(patient_id),
                label=temporary.get(patient) or f"Patient of {numbers.get(run, '')}",
                of=numbers.get(run, ""),
            ),
        )
        links.append(
            Link(source=f"{Sort.RUN}:{run}", target=f"{Sort.PATIENT}:{patient_id}", sure=Sure.SURE)
        )
    total = len({alias.get(each, each) for each in of_run.values()})
    return Listed(nodes=tuple(nodes.values()), total=total), links


def _is_patient(subject: Subject) -> bool:
    return subject.node.sort is Sort.PATIENT and bool(subject.ids)


def patients_of_runs(session: Session, runs: Sequence[UUID], cut: Cut) -> dict[UUID, UUID]:
    """Return each run's patient by what was known of merges: a statement for each step of them."""
    found: dict[UUID, UUID] = {}
    for block in blocks(runs):
        rows = select(RunPatient.run_id, RunPatient.patient_id).where(
            RunPatient.site_id.in_(cut.sites),
            RunPatient.run_id.in_(block),
            RunPatient.valid_to.is_(None),
            believed_at(RunPatient, cut.number),
        )
        found |= {
            row.run_id: row.patient_id
            for row in session.execute(rows.order_by(RunPatient.recorded_no + 0))
        }
    into = merged_into(session, set(found.values()), cut)
    return {run: end_of(patient, into) for run, patient in found.items()}


def merged_into(session: Session, patients: set[UUID], cut: Cut) -> dict[UUID, UUID]:
    """Return the merges that begin at these references, and at those that they lead to."""
    into: dict[UUID, UUID] = {}
    ask = set(patients)
    while ask:
        step: dict[UUID, UUID] = {}
        for block in blocks(sorted(ask)):
            rows = select(PatientMerge.patient_id, PatientMerge.into_id).where(
                PatientMerge.site_id.in_(cut.sites),
                PatientMerge.patient_id.in_(block),
                PatientMerge.valid_to.is_(None),
                believed_at(PatientMerge, cut.number),
            )
            step |= {row.patient_id: row.into_id for row in session.execute(rows)}
        into |= step
        ask = set(step.values()) - into.keys()
    return into


def end_of(patient: UUID, into: dict[UUID, UUID]) -> UUID:
    """Return the reference at the end of its chain; a loop ends where it would begin again."""
    passed = [patient]
    while (following := into.get(passed[-1])) is not None and following not in passed:
        passed.append(following)
    return passed[-1]


def _temporary(session: Session, ids: set[UUID], cut: Cut) -> dict[UUID, str]:
    found: dict[UUID, str] = {}
    for block in blocks(sorted(ids)):
        rows = select(Patient.id, Patient.temporary).where(
            Patient.site_id.in_(cut.sites), Patient.id.in_(block), Patient.temporary.is_not(None)
        )
        found |= {row.id: row.temporary or "" for row in session.execute(rows)}
    return found


def entries_of(session: Session, subject: Subject, cut: Cut) -> dict[str, int]:
    """Return how many entries of each kind a person made; nothing for anything else."""
    if subject.node.sort is not Sort.PERSON:
        return {}
    rows = (
        select(LedgerEvent.kind, func.count())
        .where(
            LedgerEvent.site_id.in_(cut.sites),
            LedgerEvent.actor_id.in_(subject.ids),
            LedgerEvent.number <= cut.number,
        )
        .group_by(LedgerEvent.kind)
    )
    counted = {str(kind): count for kind, count in session.execute(rows)}
    return dict(sorted(counted.items(), key=lambda each: (-each[1], each[0])))
