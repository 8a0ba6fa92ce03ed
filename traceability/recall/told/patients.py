"""Who was on a run: a run's patient, and one identity that became another."""

from collections.abc import Iterator
from uuid import UUID

from traceability.domain.events import Kind, Recorded
from traceability.domain.shelves import facts as told
from traceability.recall.told.registry import Telling, stem, tells
from traceability.storage.runs import Patient, Run


@tells(Kind.PATIENT_SET)
def patient_set(telling: Telling, event: Recorded) -> Iterator[told.Fact]:
    """The run's patient is known, for all of the run: so it counts from the run's beginning."""
    run = telling.session.get_one(Run, (telling.site_id, event.key("run")))
    since = stem(event)
    yield told.Merge(
        id=since["id"],
        at=min(since["at"], run.begun_at),
        recorded_at=since["recorded_at"],
        source=f"run {run.number}",
        into=patient_name(telling, event.text("patient")),
    )


@tells("patients-merged")
def patients_merged(telling: Telling, event: Recorded) -> Iterator[told.Fact]:
    """One identity becomes another, from now on and for the past."""
    yield told.Merge(
        **stem(event),
        source=patient_name(telling, event.text("from")),
        into=patient_name(telling, event.text("into")),
    )


def patient_name(telling: Telling, patient_id: str) -> str:
    """Return what a patient is called here: the reference, or the temporary identity.

    Two entries with the same reference are one patient. Of one whose text was erased the id is
    left, which tells nobody anything.
    """
    patient = telling.session.get(Patient, (telling.site_id, UUID(patient_id)))
    if patient is None:
        return patient_id
    return telling.kept(patient.kept_id) or patient.temporary or patient_id
