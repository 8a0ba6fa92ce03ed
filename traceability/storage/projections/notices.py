"""What makers state about packs, and what people ruled about lot texts."""

from sqlalchemy.orm import Session

from traceability.domain.events import Kind, Recorded
from traceability.domain.scopes import loose_key
from traceability.storage.notices import CartonNotice, CartonNoticeLot, LotRuling
from traceability.storage.projections.registry import projects
from traceability.storage.projections.rows import add_link


@projects(Kind.CARTON_TOLD)
def carton_told(session: Session, event: Recorded) -> None:
    """Keep what a notice says of the inner lots of some packs."""
    add_link(
        session,
        CartonNotice,
        event,
        0,
        event.happened_at,
        product_id=event.key("product"),
        inner_product_id=event.key("inner_product"),
        inner_lot_text=event.text("inner_lot_text"),
        sole=event.flag("sole"),
        complete=event.flag("complete"),
    )
    for line, text in enumerate(event.texts("lots")):
        session.add(
            CartonNoticeLot(
                site_id=event.site_id,
                recorded_no=event.number,
                line=line,
                text=text,
                loose_key=loose_key(text),
            )
        )


@projects(Kind.LOT_RULED)
def lot_ruled(session: Session, event: Recorded) -> None:
    """Keep the ruling beside those before it."""
    basis = event.rows("basis")
    add_link(
        session,
        LotRuling,
        event,
        0,
        event.happened_at,
        product_id=event.key("product"),
        captured=event.text("captured"),
        notice=event.text("notice"),
        same=event.flag("same"),
        person_id=event.actor_id,
        kept_id=event.inner(basis[0]).key("kept") if basis else None,
    )
