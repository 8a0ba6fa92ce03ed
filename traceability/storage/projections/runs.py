"""Taken, flow on, flow off, the run's patient and its end."""

from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.domain.circuits import AWAY, Phase
from traceability.domain.events import Kind, Recorded
from traceability.storage.circuits import CircuitPhase, CircuitPlace
from traceability.storage.projections.beginnings import count_up
from traceability.storage.projections.equipment import end_service
from traceability.storage.projections.primes import end_circuit_place
from traceability.storage.projections.registry import projects
from traceability.storage.projections.rows import (
    add_link,
    end_all,
    end_the_run,
    move_on,
    open_links,
    replace,
    supersede,
)
from traceability.storage.run_extras import Custody
from traceability.storage.runs import CircuitOnRun, Patient, Run, RunPatient


@projects(Kind.CIRCUIT_TAKEN)
def circuit_taken(session: Session, event: Recorded) -> None:
    """The circuit leaves the shelf for a run, new or going on; a second claim is disputed."""
    circuit_id, run_id = event.key("circuit"), event.key("run")
    if event.body.get("number") is not None:
        session.add(
            Run(
                site_id=event.site_id,
                id=run_id,
                number=event.text("number"),
                begun_at=event.happened_at,
                ended_at=None,
                begun_no=event.number,
            )
        )
        session.flush()
        count_up(session, event)
    disputed = event.flag("disputed")
    add_link(
        session,
        CircuitOnRun,
        event,
        0,
        event.happened_at,
        disputed=disputed,
        circuit_id=circuit_id,
        run_id=run_id,
        flow_from=None,
    )
    if not disputed:
        move_on(
            session,
            CircuitPhase,
            event,
            event.happened_at,
            circuit_id,
            phase=Phase.TAKEN,
            reason=AWAY if event.text_or_none("reason") == AWAY else "",
        )
        end_circuit_place(session, event, circuit_id)
        end_all(session, Custody, event, event.happened_at, circuit_id=circuit_id)


@projects(Kind.TAKE_WITHDRAWN, Kind.CAME_BACK_UNUSED)
def came_back(session: Session, event: Recorded) -> None:
    """Back in its place. A wrong scan was never on the run; a return unused was, without flow."""
    circuit_id = event.key("circuit")
    claim = {"circuit_id": circuit_id, "run_id": event.key("run")}
    if event.kind is Kind.TAKE_WITHDRAWN:
        for row in open_links(session, CircuitOnRun, event, **claim):
            supersede(session, row, event)
    else:
        end_all(session, CircuitOnRun, event, event.happened_at, **claim)
    move_on(
        session,
        CircuitPhase,
        event,
        event.happened_at,
        circuit_id,
        phase=event.text_or_none("phase") or Phase.PRIMED,
        reason=event.text_or_none("phase_reason") or "",
    )
    place_id = event.key_or_none("place")
    if place_id is not None:
        move_on(
            session,
            CircuitPlace,
            event,
            event.happened_at,
            circuit_id,
            place_id=place_id,
        )
    if event.flag("run_ends"):
        end_service(session, event, runs=[event.key("run")])
        end_the_run(session, event, event.key("run"), event.happened_at)


@projects(Kind.FLOW_ON)
def flow_on(session: Session, event: Recorded) -> None:
    """Blood flows: from here on exposure is certain. Of two claims the earlier one counts."""
    circuit_id, at = event.key("circuit"), event.happened_at
    for line, row in enumerate(
        open_links(session, CircuitOnRun, event, circuit_id=circuit_id, run_id=event.key("run"))
    ):
        replace(session, row, event, line, flow_from=min(at, row.flow_from or at))
    if not event.flag("disputed"):
        _on_patient(session, event, circuit_id)
    place_id = event.key_or_none("place")
    if place_id is not None:
        move_on(
            session,
            CircuitPlace,
            event,
            event.happened_at,
            circuit_id,
            place_id=place_id,
        )


def _on_patient(session: Session, event: Recorded, circuit_id: UUID) -> None:
    at = event.happened_at
    phases = open_links(session, CircuitPhase, event, circuit_id=circuit_id)
    if not phases or phases[0].phase != Phase.ON_PATIENT:
        move_on(session, CircuitPhase, event, at, circuit_id, phase=Phase.ON_PATIENT, reason="")
        return
    since = phases[0].valid_from
    if since <= at:
        return
    # Said twice, the earlier one second: the same rows as in the other order.
    before = (
        select(CircuitPhase)
        .filter_by(site_id=event.site_id, circuit_id=circuit_id, superseded_no=None)
        .where(CircuitPhase.valid_to > at)
        .order_by(CircuitPhase.recorded_no, CircuitPhase.line)
    )
    line = -1
    for line, row in enumerate(session.scalars(before).all()):
        replace(session, row, event, line, valid_to=max(at, row.valid_from))
    replace(session, phases[0], event, line + 1, valid_from=at)


@projects(Kind.FLOW_OFF)
def flow_off(session: Session, event: Recorded) -> None:
    """The circuit no longer supports the run; all of its claims with this run end.

    A disputed claim says nothing about where the circuit is: it may be on another patient.
    """
    circuit_id = event.key("circuit")
    end_all(
        session,
        CircuitOnRun,
        event,
        event.happened_at,
        circuit_id=circuit_id,
        run_id=event.key("run"),
    )
    if event.flag("disputed"):
        return
    move_on(
        session,
        CircuitPhase,
        event,
        event.happened_at,
        circuit_id,
        phase=Phase.TRANSFERRED_OUT if event.flag("transferred") else Phase.ENDED,
        reason=event.text_or_none("reason") or "",
    )
    end_circuit_place(session, event, circuit_id)
    end_service(session, event, circuits=[circuit_id])


@projects(Kind.RUN_ENDED)
def run_ended(session: Session, event: Recorded) -> None:
    """The patient's support is over; its machines are free. Run parts have times of their own."""
    end_service(session, event, runs=[event.key("run")])
    end_the_run(session, event, event.key("run"), event.happened_at)


@projects(Kind.PATIENT_SET)
def patient_set(session: Session, event: Recorded) -> None:
    """The run belongs to this patient; what was believed before stays readable."""
    patient_id = event.key("patient")
    add_patient(session, event)
    run = session.get_one(Run, (event.site_id, event.key("run")))
    for row in open_links(session, RunPatient, event, run_id=run.id):
        supersede(session, row, event)
    add_link(session, RunPatient, event, 0, run.begun_at, run_id=run.id, patient_id=patient_id)


def add_patient(session: Session, event: Recorded) -> None:
    """Add the patient reference that a body names, where it is new."""
    patient_id = event.key("patient")
    if session.get(Patient, (event.site_id, patient_id)) is None:
        session.add(
            Patient(
                site_id=event.site_id,
                id=patient_id,
                kept_id=event.key_or_none("kept"),
                temporary=event.text_or_none("temporary"),
            )
        )
        session.flush()
