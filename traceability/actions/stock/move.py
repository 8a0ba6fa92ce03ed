"""Pieces of a lot are carried from one place to another."""

from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.actions.once import Asked, Done, Site, answer_once
from traceability.actions.stock.booking import (
    booked,
    counted_product,
    lot_body,
    require_number,
    the_place,
)
from traceability.domain.events import Kind
from traceability.domain.people import Right
from traceability.errors import BadValue


@dataclass(frozen=True, slots=True, kw_only=True)
class MoveStock(Asked):
    """So many pieces of a lot stand somewhere else now."""

    kind: ClassVar[str] = "move-stock"
    right: ClassVar[Right | None] = Right.LISTS
    product_id: UUID
    lot_text: str
    """Empty: the pieces carry no lot."""
    quantity: int
    from_place_id: UUID | None
    """None: pieces that were booked in without a place."""
    to_place_id: UUID
    at: datetime


def move_stock(asked: MoveStock, *, site: Site) -> Done:
    """Record the move. More than the book has may be moved: a count is then to be made.

    Raises:
        UnknownCode: no such product or place. BadValue: ward stock, no number, the same place.
    """
    return answer_once(asked, _move, site)


def _move(asked: MoveStock, session: Session, site: Site) -> Done:
    product = counted_product(session, site, asked.product_id)
    require_number("pieces", asked.quantity)
    the_place(session, site, asked.from_place_id)
    to = the_place(session, site, asked.to_place_id)
    if asked.from_place_id == asked.to_place_id:
        raise BadValue(field="place", value=to.name if to else "", why="same-place")
    body = lot_body(product, asked.lot_text) | {
        "quantity": asked.quantity,
        "from_place": asked.from_place_id,
        "to_place": asked.to_place_id,
    }
    facts = {
        "lot": asked.lot_text.strip() or None,
        "quantity": asked.quantity,
        "place": to.name if to else None,
    }
    return booked(
        asked, session, site, Kind.STOCK_MOVED, asked.at, body, product=product, facts=facts
    )
