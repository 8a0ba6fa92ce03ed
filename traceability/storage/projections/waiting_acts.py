"""Acts from a device's queue that wait for a person, and what became of them."""

from sqlalchemy.orm import Session

from traceability.domain.events import Kind, Recorded
from traceability.storage.projections.lists import text_of
from traceability.storage.projections.registry import projects
from traceability.storage.projections.rows import add_link, supersede
from traceability.storage.waiting_acts import WaitingAct


@projects(Kind.ACT_WAITS)
def act_waits(session: Session, event: Recorded) -> None:
    """The act is kept whole; nothing of it is done."""
    add_link(
        session,
        WaitingAct,
        event,
        0,
        event.moment("device_at"),
        circuit_id=event.key_or_none("circuit"),
        device_id=event.key("device"),
        person_id=event.key_or_none("person"),
        what=event.text("what"),
        why=text_of(event.body["why"]),
        said=text_of(event.body["said"]),
        kept_id=event.key_or_none("kept"),
    )


@projects(Kind.ACT_SETTLED)
def act_settled(session: Session, event: Recorded) -> None:
    """A person recorded it, or left it out."""
    row = session.get_one(WaitingAct, (event.site_id, event.number_of("waits_no"), 0))
    supersede(session, row, event)
