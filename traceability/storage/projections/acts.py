"""One row for each act at a trolley: for the strip, for undo, for "keep it"."""

from sqlalchemy.orm import Session

from traceability.domain.events import Recorded
from traceability.storage.projections.lists import text_of
from traceability.storage.scans import TrolleyAct


def trolley_act(session: Session, event: Recorded) -> None:
    """Remember what a device did on a prime, and what the strip says of it."""
    session.add(
        TrolleyAct(
            site_id=event.site_id,
            recorded_no=event.number,
            circuit_id=event.key("circuit"),
            device_id=event.device_id,
            request_id=event.request_id,
            at=event.happened_at,
            verdict=event.text_or_none("verdict") or "accepted",
            code=event.text_or_none("code") or event.kind,
            facts=text_of(event.body.get("facts")),
            scan=text_of(event.body.get("scan")),
            undone_no=None,
        )
    )
