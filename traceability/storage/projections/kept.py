"""A circuit that is kept for inspection, and who keeps it."""

from sqlalchemy.orm import Session

from traceability.domain.at_the_run import OUT_OF_HOUSE
from traceability.domain.circuits import Phase
from traceability.domain.events import Kind, Recorded
from traceability.storage.circuits import CircuitPhase, CircuitPlace
from traceability.storage.projections.equipment import end_service
from traceability.storage.projections.primes import end_circuit_place
from traceability.storage.projections.registry import projects
from traceability.storage.projections.rows import follow_on, move_on
from traceability.storage.run_extras import Custody


@projects(Kind.KEPT_FOR_INSPECTION)
def kept_for_inspection(session: Session, event: Recorded) -> None:
    """It is kept, in a place; the unit itself keeps it first."""
    circuit_id, at = event.key("circuit"), event.happened_at
    move_on(session, CircuitPhase, event, at, circuit_id, phase=Phase.KEPT, reason="")
    place_id = event.key_or_none("place")
    if place_id is not None:
        move_on(session, CircuitPlace, event, at, circuit_id, place_id=place_id)
    end_service(session, event, circuits=[circuit_id])
    follow_on(session, Custody, event, at, {"circuit_id": circuit_id}, kept_id=None, reason="")


@projects(Kind.CUSTODY_PASSED)
def custody_passed(session: Session, event: Recorded) -> None:
    """Somebody else keeps it now; out of the house it stands in no place of ours."""
    circuit_id, keeper = event.key("circuit"), event.rows("to")
    reason = event.text("reason")
    follow_on(
        session,
        Custody,
        event,
        event.happened_at,
        {"circuit_id": circuit_id},
        kept_id=event.inner(keeper[0]).key("kept") if keeper else None,
        reason=reason,
    )
    if reason in OUT_OF_HOUSE:
        end_circuit_place(session, event, circuit_id)
