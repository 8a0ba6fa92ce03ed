"""Which reference a patient goes by: merges are followed to the end of their chain."""

from collections.abc import Sequence
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.storage.base import believed_at
from traceability.storage.corrections import PatientMerge
from traceability.storage.runs import RunPatient


def known_as(
    session: Session, sites: Sequence[UUID], patient_id: UUID, as_of_no: int | None = None
) -> UUID:
    """Return the reference at the end of the chain, by the merges believed at a ledger number."""
    passed = [patient_id]
    while True:
        rows = select(PatientMerge.into_id).where(
            PatientMerge.site_id.in_(sites),
            PatientMerge.patient_id == passed[-1],
            PatientMerge.valid_to.is_(None),
            believed_at(PatientMerge, as_of_no),
        )
        into = session.scalar(rows.limit(1))
        # A loop is refused before it is recorded; one that was there all the same ends here.
        if into is None or into in passed:
            return passed[-1]
        passed.append(into)


def patient_of_run(
    session: Session, site_id: UUID, run_id: UUID, as_of_no: int | None = None
) -> UUID | None:
    """Return the reference that was given to the run itself, before any merge; None if none."""
    rows = (
        select(RunPatient.patient_id)
        .where(
            RunPatient.site_id == site_id,
            RunPatient.run_id == run_id,
            RunPatient.valid_to.is_(None),
            believed_at(RunPatient, as_of_no),
        )
        .order_by(RunPatient.recorded_no.desc())
        .limit(1)
    )
    return session.scalar(rows)
