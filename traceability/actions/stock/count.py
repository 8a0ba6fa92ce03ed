"""Somebody counted: that is what is there now, and the difference to the book is on record."""

from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.actions.once import Asked, Done, Site, answer_once, ledger_of
from traceability.actions.stock.booking import (
    book,
    counted_product,
    day_or_none,
    lot_body,
    require_number,
    the_place,
)
from traceability.domain.events import Kind
from traceability.domain.people import Right
from traceability.errors import BadValue
from traceability.storage.items import Product
from traceability.storage.stock import StockLevel, level_key


@dataclass(frozen=True, slots=True, kw_only=True)
class Counted:
    """One number a person wrote down."""

    lot_text: str
    """Empty: the pieces carry no lot."""
    place_id: UUID
    quantity: int
    expiry: str = ""
    """YYYY-MM-DD as printed, for a lot that was not in the book."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CountStock(Asked):
    """A count of some lots of one product; each row is an event of its own."""

    kind: ClassVar[str] = "count-stock"
    right: ClassVar[Right | None] = Right.LISTS
    product_id: UUID
    rows: tuple[Counted, ...]
    at: datetime


def count_stock(asked: CountStock, *, site: Site) -> Done:
    """Record what is there; the answer's facts carry the sum of all differences.

    Raises:
        UnknownCode: no such product or place. BadValue: ward stock, no number, nothing counted.
    """
    return answer_once(asked, _count, site)


def _count(asked: CountStock, session: Session, site: Site) -> Done:
    product = counted_product(session, site, asked.product_id)
    if not asked.rows:
        raise BadValue(field="number", value="", why="nothing-counted")
    bodies = [_body(row, product, session, site) for row in asked.rows]
    if len({(body["lot"], body["place"]) for body in bodies}) < len(bodies):
        raise BadValue(field="lot and place", value="", why="twice")
    ledger = ledger_of(asked, session, site)
    numbers: list[int] = []
    difference = 0
    noted: tuple[str, ...] = ()
    for body in bodies:
        expected = _expected(session, site, body)
        number, noted = book(
            asked, ledger, Kind.STOCK_COUNTED, asked.at, body | {"expected": expected}
        )
        numbers.append(number)
        difference += int(str(body["quantity"])) - expected
    return Done(
        first_no=numbers[0],
        last_no=numbers[-1],
        subject=product.id,
        code=Kind.STOCK_COUNTED,
        facts={"name": product.name, "rows": len(numbers), "difference": difference},
        cautions=noted,
    )


def _body(row: Counted, product: Product, session: Session, site: Site) -> dict[str, object]:
    require_number("number counted", row.quantity, least=0)
    the_place(session, site, row.place_id)
    expiry = day_or_none("expires", row.expiry)
    return lot_body(product, row.lot_text) | {
        "place": row.place_id,
        "quantity": row.quantity,
        "expiry": expiry and expiry.isoformat(),
    }


def _expected(session: Session, site: Site, body: dict[str, object]) -> int:
    """Return what the book says is there, with what it has at no place: a count settles both.

    Read with the ledger's head locked, so that nothing changes it any more.
    """
    product_id, lot_id = UUID(str(body["product"])), body["lot"]
    lot = lot_id if isinstance(lot_id, UUID) else None
    session.flush()
    total = 0
    for place_id in (UUID(str(body["place"])), None):
        key = level_key(product_id, lot, place_id)
        level = session.get(StockLevel, (site.id, key), populate_existing=True)
        total += level.quantity if level else 0
    return total
