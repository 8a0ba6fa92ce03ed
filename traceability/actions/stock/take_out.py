"""Pieces leave the shelf and go into no circuit."""

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
from traceability.domain.stock_book import OutReason
from traceability.errors import BadValue


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeOutStock(Asked):
    """Broken, expired, lent, returned to the maker, used for practice."""

    kind: ClassVar[str] = "take-out-stock"
    right: ClassVar[Right | None] = Right.LISTS
    product_id: UUID
    lot_text: str
    """Empty: the pieces carry no lot."""
    quantity: int
    place_id: UUID | None
    reason: str
    at: datetime


def take_out_stock(asked: TakeOutStock, *, site: Site) -> Done:
    """Record that they are gone and why.

    Raises:
        UnknownCode: no such product or place. BadValue: ward stock, no number, no such reason.
    """
    return answer_once(asked, _take_out, site)


def _take_out(asked: TakeOutStock, session: Session, site: Site) -> Done:
    product = counted_product(session, site, asked.product_id)
    require_number("pieces", asked.quantity)
    place = the_place(session, site, asked.place_id)
    reasons = tuple(str(reason) for reason in OutReason)
    if asked.reason not in reasons:
        raise BadValue(field="reason", value=asked.reason, why="not-one-of", of=reasons)
    body = lot_body(product, asked.lot_text) | {
        "quantity": asked.quantity,
        "place": asked.place_id,
        "reason": asked.reason,
    }
    facts = {
        "lot": asked.lot_text.strip() or None,
        "quantity": asked.quantity,
        "place": place.name if place else None,
        "reason": asked.reason,
    }
    return booked(
        asked, session, site, Kind.STOCK_OUT, asked.at, body, product=product, facts=facts
    )
