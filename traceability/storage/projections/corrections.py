"""Corrections, rulings on claims, and patient references that turn out to be one person's."""

from uuid import UUID

from sqlalchemy.orm import Session

from traceability.domain.events import Kind, Recorded
from traceability.storage.corrections import Correction, PatientMerge
from traceability.storage.projections.registry import projects
from traceability.storage.projections.restate import (
    Lines,
    end_second_signature,
    restate_circuits,
    restate_merges,
    restate_runs,
)
from traceability.storage.projections.rows import add_link, open_links, supersede
from traceability.storage.projections.runs import add_patient


@projects(Kind.CORRECTED, Kind.CLAIM_RULED)
def corrected(session: Session, event: Recorded) -> None:
    """Believe the earlier entry as it is now said; the rows of before stay readable."""
    circuits, runs = _keys(event, "circuits"), _keys(event, "runs")
    merges, lines = _keys(event, "merges"), Lines()
    for subject in (*circuits, *runs, *merges):
        session.add(
            Correction(
                site_id=event.site_id,
                recorded_no=event.number,
                line=lines.take(),
                subject_id=subject,
                of_no=event.number_of("of"),
            )
        )
    if event.body.get("new_patient") is True:
        changes = event.body["changes"]
        if isinstance(changes, dict):
            add_patient(session, event.inner(changes))
    session.flush()
    restate_circuits(session, event, circuits, lines)
    restate_runs(session, event, runs, lines)
    restate_merges(session, event, merges, lines)
    for circuit_id in _keys(event, "sign_again"):
        end_second_signature(session, event, circuit_id, lines)


@projects(Kind.PATIENTS_MERGED)
def patients_merged(session: Session, event: Recorded) -> None:
    """The one reference is the other's from here on; the newest word on it counts."""
    for row in event.rows("new_patients"):
        add_patient(session, event.inner(row))
    for before in open_links(session, PatientMerge, event, patient_id=event.key("from")):
        supersede(session, before, event)
    add_link(
        session,
        PatientMerge,
        event,
        0,
        event.happened_at,
        patient_id=event.key("from"),
        into_id=event.key("into"),
    )


def _keys(event: Recorded, name: str) -> list[UUID]:
    given = event.body.get(name)
    return [UUID(str(each)) for each in given] if isinstance(given, (list, tuple)) else []
