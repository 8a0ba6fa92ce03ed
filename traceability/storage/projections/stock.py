"""Acts on the shelves: received, moved, counted, taken out unused."""

from collections.abc import Mapping
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.domain.events import Kind, Recorded
from traceability.storage.items import Lot, Product
from traceability.storage.projections.lots import name_lot
from traceability.storage.projections.registry import projects
from traceability.storage.projections.rows import add_link, follow_on, open_links
from traceability.storage.projections.stock_levels import change, level_of, open_book
from traceability.storage.stock import StockBookWord, StockLevel, StockReceipt, level_key


@projects(Kind.STOCK_RECEIVED)
def stock_received(session: Session, event: Recorded) -> None:
    """Pieces came in. Ward stock is on record as a receipt, and its number is not counted."""
    product_id, lot_id = event.key("product"), _lot(session, event)
    supplier = event.body.get("supplier")
    quantity = event.number_of("quantity")
    add_link(
        session,
        StockReceipt,
        event,
        0,
        event.happened_at,
        product_id=product_id,
        lot_id=lot_id,
        quantity=quantity,
        expiry=event.day_or_none("expiry"),
        place_id=event.key_or_none("place"),
        box=event.text_or_none("box"),
        made=event.day_or_none("made"),
        shipped=event.day_or_none("shipped"),
        supplier_id=UUID(str(supplier["kept"])) if isinstance(supplier, Mapping) else None,
        known=event.text("known"),
        unit_id=event.key_or_none("unit"),
        device_id=event.device_id,
    )
    if not session.get_one(Product, (event.site_id, product_id)).counted:
        return
    open_book(session, event, product_id)
    level = level_of(session, event, product_id, lot_id, event.key_or_none("place"))
    change(session, event, 0, level, quantity, why=event.kind)


@projects(Kind.STOCK_MOVED)
def stock_moved(session: Session, event: Recorded) -> None:
    """So many pieces of a lot stand somewhere else now."""
    product_id, lot_id = event.key("product"), _lot(session, event)
    open_book(session, event, product_id)
    quantity = event.number_of("quantity")
    for line, (name, sign) in enumerate((("from_place", -1), ("to_place", 1))):
        level = level_of(session, event, product_id, lot_id, event.key_or_none(name))
        change(session, event, line, level, sign * quantity, why=event.kind)


@projects(Kind.STOCK_COUNTED)
def stock_counted(session: Session, event: Recorded) -> None:
    """A person counted: that is what is there. What stood at no place is settled with it."""
    product_id, lot_id = event.key("product"), _lot(session, event)
    place_id = event.key_or_none("place")
    open_book(session, event, product_id).counted_at = event.happened_at
    level = level_of(session, event, product_id, lot_id, place_id)
    differs = event.number_of("quantity") - level.quantity
    change(session, event, 0, level, differs, why=event.kind)
    level.counted_at, level.counted_no = event.happened_at, event.number
    adrift = session.get(StockLevel, (event.site_id, level_key(product_id, lot_id, None)))
    if place_id is not None and adrift is not None and adrift.quantity:
        differs -= adrift.quantity
        change(session, event, 1, adrift, -adrift.quantity, why=event.kind)
    if differs:
        _say_of_the_book(session, event, product_id, complete=False, person_id=None)


@projects(Kind.STOCK_BOOK_DECLARED)
def stock_book_declared(session: Session, event: Recorded) -> None:
    """A named person says that everything that came and went is in the book, or no longer."""
    _say_of_the_book(
        session,
        event,
        event.key("product"),
        complete=event.flag("complete"),
        person_id=event.actor_id,
    )


def _say_of_the_book(
    session: Session,
    event: Recorded,
    product_id: UUID,
    *,
    complete: bool,
    person_id: UUID | None,
) -> None:
    """The newest word counts; a count that differs is one only where the book was complete."""
    said = open_links(session, StockBookWord, event, product_id=product_id)
    if not complete and person_id is None and not any(row.complete for row in said):
        return
    follow_on(
        session,
        StockBookWord,
        event,
        event.happened_at,
        {"product_id": product_id},
        complete=complete,
        person_id=person_id,
    )


@projects(Kind.STOCK_OUT)
def stock_out(session: Session, event: Recorded) -> None:
    """Pieces left the shelf and went into no circuit."""
    product_id, lot_id = event.key("product"), _lot(session, event)
    open_book(session, event, product_id)
    level = level_of(session, event, product_id, lot_id, event.key_or_none("place"))
    change(
        session,
        event,
        0,
        level,
        -event.number_of("quantity"),
        why=event.kind,
        reason=event.text("reason"),
    )


def _lot(session: Session, event: Recorded) -> UUID | None:
    """Return the lot that the body names; its row is made when first seen.

    A lot that was first seen without its expiry is given it when it is read later.
    """
    lot_id = event.key_or_none("lot")
    if lot_id is None:
        return None
    name_lot(
        session,
        event,
        lot_id,
        product_id=event.key("product"),
        text=event.text("lot_text"),
        expiry=event.day_or_none("expiry"),
    )
    lot = session.get_one(Lot, (event.site_id, lot_id))
    if lot.expiry is None:
        lot.expiry = event.day_or_none("expiry")
    return lot_id
