"""A circuit's life after the prime: moved, held, discarded, come from elsewhere."""

from sqlalchemy.orm import Session

from traceability.domain.circuits import Origin, Phase
from traceability.domain.events import Kind, Recorded
from traceability.storage.circuits import Circuit, CircuitPhase, CircuitPlace
from traceability.storage.holds import Hold
from traceability.storage.projections.beginnings import begin_circuit
from traceability.storage.projections.equipment import end_service
from traceability.storage.projections.primes import end_circuit_place
from traceability.storage.projections.registry import projects
from traceability.storage.projections.rows import add_link, end_all, end_the_run, move_on
from traceability.storage.run_extras import Custody
from traceability.storage.runs import CircuitOnRun


@projects(Kind.CIRCUIT_MOVED)
def circuit_moved(session: Session, event: Recorded) -> None:
    """The circuit stands somewhere else."""
    move_on(
        session,
        CircuitPlace,
        event,
        event.happened_at,
        event.key("circuit"),
        place_id=event.key("place"),
    )


@projects(Kind.CIRCUIT_DISCARDED)
def circuit_discarded(session: Session, event: Recorded) -> None:
    """Thrown away; what was in it stays on record."""
    circuit_id = event.key("circuit")
    move_on(
        session,
        CircuitPhase,
        event,
        event.happened_at,
        circuit_id,
        phase=Phase.DISCARDED,
        reason=event.text("reason"),
    )
    end_circuit_place(session, event, circuit_id)
    end_all(session, Custody, event, event.happened_at, circuit_id=circuit_id)
    # Opened and never connected: until here it counted as possibly used.
    end_all(session, CircuitOnRun, event, event.happened_at, circuit_id=circuit_id)
    runs = [event.inner(run).key("run") for run in event.rows("runs")]
    end_service(session, event, runs=runs, circuits=[circuit_id])
    for line, run_id in enumerate(runs):
        end_the_run(session, event, run_id, event.happened_at, line)


@projects(Kind.FOREIGN_ARRIVED, Kind.CIRCUIT_WITHOUT_RECORD)
def foreign_arrived(session: Session, event: Recorded) -> None:
    """A circuit whose contents are not recorded here; it never drops out of an answer.

    One that stood here before may have been changed elsewhere: what is in it is open again.
    """
    known = session.get(Circuit, (event.site_id, event.key("circuit")))
    if known is not None:
        known.contents = "not-recorded"
        return
    tag = event.rows("tag")
    begin_circuit(
        session,
        event,
        Phase.PRIMED,
        event.key_or_none("place"),
        origin=Origin.FOREIGN,
        circuit_type=event.text_or_none("circuit_type") or "",
        sheet_version=0,
        primer_id=None,
        helper_id=None,
        contents="not-recorded",
        kept_id=event.inner(tag[0]).key("kept") if tag else None,
    )


@projects(Kind.HELD)
def held(session: Session, event: Recorded) -> None:
    """Not to be used until released."""
    add_link(
        session,
        Hold,
        event,
        0,
        event.happened_at,
        subject=event.text("subject"),
        subject_id=event.key("subject_id"),
        reason=event.text("reason"),
        notice=event.text_or_none("notice") or "",
    )


@projects(Kind.RELEASED)
def released(session: Session, event: Recorded) -> None:
    """Free again."""
    end_all(session, Hold, event, event.happened_at, subject_id=event.key("subject_id"))
