"""Which patient a reference, wristband or run stands for. Texts are compared, never returned."""

from collections.abc import Sequence
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.recall.cut import Cut, cut_at
from traceability.recall.record import blocks
from traceability.recall.touched import runs_of_patients
from traceability.recall.trace_people import end_of, merged_into, patients_of_runs
from traceability.storage.base import believed_at
from traceability.storage.corrections import PatientMerge
from traceability.storage.kept_apart import KeptApart
from traceability.storage.runs import Patient, Run


def run_of_patient(session: Session, text: str) -> str:
    """Return the number of the newest run of the patient of that very reference; empty: none.

    A run's number can stand in an address, and a patient's reference cannot.
    """
    cut = cut_at(session)
    same = _same(session, patients_of_text(session, text, cut.sites), cut)
    runs = runs_of_patients(session, same, cut)
    if not runs:
        return ""
    rows = select(Run.number).where(Run.site_id.in_(cut.sites), Run.id.in_(runs[:500]))
    return session.scalar(rows.order_by(Run.begun_no.desc()).limit(1)) or ""


def patients_of_text(session: Session, text: str, sites: Sequence[UUID]) -> list[UUID]:
    """Return every reference of that very text, and the temporary identity of that name."""
    kept = list(session.scalars(select(KeptApart.id).where(KeptApart.text == text)))
    found: list[UUID] = []
    for block in blocks(kept):
        rows = select(Patient.id).where(Patient.site_id.in_(sites), Patient.kept_id.in_(block))
        found += session.scalars(rows)
    named = select(Patient.id).where(
        Patient.site_id.in_(sites), Patient.temporary == text.strip().upper()
    )
    return [*found, *session.scalars(named)]


def same_patient(session: Session, run_id: UUID, cut: Cut) -> tuple[UUID, ...]:
    """Return all references of the patient of a run: merged ones, and those of the same text."""
    patient = patients_of_runs(session, [run_id], cut).get(run_id)
    if patient is None:
        return ()
    texts = (
        select(KeptApart.text)
        .join(Patient, Patient.kept_id == KeptApart.id)
        .where(Patient.site_id.in_(cut.sites), Patient.id == patient)
    )
    text = session.scalar(texts)
    alike = patients_of_text(session, text, cut.sites) if text else []
    return tuple(_same(session, [patient, *alike], cut))


def _same(session: Session, ids: Sequence[UUID], cut: Cut) -> list[UUID]:
    """Return the references that lead to the same ends as these, those of here first."""
    into = merged_into(session, set(ids), cut)
    found = dict.fromkeys(end_of(each, into) for each in ids)
    ask = list(found)
    while ask:
        led: list[UUID] = []
        for block in blocks(ask):
            rows = select(PatientMerge.patient_id).where(
                PatientMerge.site_id.in_(cut.sites),
                PatientMerge.into_id.in_(block),
                PatientMerge.valid_to.is_(None),
                believed_at(PatientMerge, cut.number),
            )
            led += session.scalars(rows)
        ask = [each for each in led if each not in found]
        found |= dict.fromkeys(ask)
    return list(found)
