"""A prime is left unfinished; the next pair takes it over."""

from sqlalchemy.orm import Session

from traceability.domain.events import Kind, Recorded
from traceability.storage.pauses import PrimePair, PrimePause
from traceability.storage.projections.acts import trolley_act
from traceability.storage.projections.registry import projects
from traceability.storage.projections.rows import end_all, move_on


@projects(Kind.PRIME_PAUSED)
def prime_paused(session: Session, event: Recorded) -> None:
    """Nobody works at it from now on; a second pause follows the first."""
    move_on(
        session,
        PrimePause,
        event,
        event.happened_at,
        event.key("circuit"),
        paused_by=event.actor_id,
    )
    trolley_act(session, event)


@projects(Kind.PRIME_TAKEN_OVER)
def prime_taken_over(session: Session, event: Recorded) -> None:
    """Another pair goes on; the pause ends."""
    circuit_id = event.key("circuit")
    end_all(session, PrimePause, event, event.happened_at, circuit_id=circuit_id)
    move_on(
        session,
        PrimePair,
        event,
        event.happened_at,
        circuit_id,
        primer_id=event.key_or_none("primer"),
        helper_id=event.key_or_none("helper"),
        handed_by=event.key_or_none("handed_by"),
    )
    trolley_act(session, event)
