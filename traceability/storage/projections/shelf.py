"""What people do at the shelf: a look, a word told by hand, a circuit that was opened."""

from sqlalchemy.orm import Session

from traceability.domain.events import Kind, Recorded
from traceability.storage.projections.lists import text_of
from traceability.storage.projections.primes import use_by_decided_anew
from traceability.storage.projections.registry import projects
from traceability.storage.projections.rows import add_link, move_on
from traceability.storage.shelf import CircuitWay, ShelfCheck, ToldByHand


@projects(Kind.SHELF_CHECKED)
def shelf_checked(session: Session, event: Recorded) -> None:
    """Somebody looked at the circuit."""
    add_link(
        session,
        ShelfCheck,
        event,
        0,
        event.happened_at,
        circuit_id=event.key("circuit"),
        good=event.flag("good"),
        findings=text_of(event.body["findings"]),
    )


@projects(Kind.TOLD_BY_HAND)
def told_by_hand(session: Session, event: Recorded) -> None:
    """Somebody was told; who it was is kept apart."""
    (who,) = event.rows("who")
    add_link(
        session,
        ToldByHand,
        event,
        0,
        event.happened_at,
        place_id=event.key_or_none("place"),
        circuit_id=event.key_or_none("circuit"),
        reason=event.text("reason"),
        kept_id=event.inner(who).key("kept"),
    )


@projects(Kind.CIRCUIT_OPENED)
def circuit_opened(session: Session, event: Recorded) -> None:
    """A closed circuit was opened: a use-by that can only be shorter. The prime's end stays."""
    circuit_id = event.key("circuit")
    move_on(session, CircuitWay, event, event.happened_at, circuit_id, way=event.text("way"))
    use_by_decided_anew(session, event)
