"""Lots come into the record with the first act that names them, whichever act that is."""

from datetime import date
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.domain.events import Recorded
from traceability.domain.scopes import loose_key
from traceability.storage.items import Lot


def name_lot(
    session: Session,
    event: Recorded,
    lot_id: UUID,
    *,
    product_id: UUID,
    text: str,
    expiry: date | None,
) -> None:
    """Add the lot where this event is the first to name it."""
    if session.get(Lot, (event.site_id, lot_id)) is not None:
        return
    session.add(
        Lot(
            site_id=event.site_id,
            id=lot_id,
            product_id=product_id,
            text=text,
            loose_key=loose_key(text),
            expiry=expiry,
            first_no=event.number,
        )
    )
    session.flush()
