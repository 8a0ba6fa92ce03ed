"""The stock book line by line: what changed a product's levels, and the newest receipts."""

from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Final
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session, aliased

from traceability.storage.items import Lot, Product
from traceability.storage.kept_apart import KeptApart
from traceability.storage.ledger import LedgerEvent
from traceability.storage.people import Person
from traceability.storage.site import Place
from traceability.storage.stock import USED, StockChange, StockReceipt


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeFacts:
    """One line of the book."""

    at: datetime
    by: str
    lot: str | None
    place: str
    quantity: int
    why: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ReceiptFacts:
    """One receipt, as the page of receipts shows it."""

    at: datetime
    product_id: UUID
    product: str
    counted: bool
    lot: str | None
    expiry: date | None
    quantity: int
    place: str
    box: str
    supplier: str


MOST_LINES: Final = 200
"""Changes that a product's page looks at; those of one prime make one line."""
ONE_PRIME: Final = timedelta(hours=2)
"""Pieces of a lot that one person used within this time stand in one line."""


def changes(session: Session, site_id: UUID, product_id: UUID) -> list[ChangeFacts]:
    """Return the newest lines of a product's book, newest first; one prime's pieces in one."""
    person = aliased(Person)
    rows = (
        select(StockChange, Lot.text, Place.name, person.name)
        .outerjoin(Lot, (Lot.site_id == StockChange.site_id) & (Lot.id == StockChange.lot_id))
        .outerjoin(
            Place, (Place.site_id == StockChange.site_id) & (Place.id == StockChange.place_id)
        )
        .join(
            LedgerEvent,
            (LedgerEvent.site_id == StockChange.site_id)
            & (LedgerEvent.number == StockChange.recorded_no),
        )
        .outerjoin(
            person, (person.site_id == StockChange.site_id) & (person.id == LedgerEvent.actor_id)
        )
        .where(StockChange.site_id == site_id, StockChange.product_id == product_id)
        .order_by(StockChange.recorded_no.desc(), StockChange.line)
        .limit(MOST_LINES)
    )
    found: list[ChangeFacts] = []
    for change, lot, place, by in session.execute(rows):
        line = ChangeFacts(
            at=change.at,
            by=by or "",
            lot=lot,
            place=place or "",
            quantity=change.quantity,
            why=change.why,
            reason=change.reason,
        )
        if found and _are_one(found[-1], line):
            line = replace(line, quantity=line.quantity + found.pop().quantity)
        found.append(line)
    return found


def _are_one(later: ChangeFacts, line: ChangeFacts) -> bool:
    """Tell whether two changes, one after the other, are pieces of one prime."""
    alike = replace(later, at=line.at, quantity=line.quantity) == line
    return alike and line.why == USED and abs(later.at - line.at) < ONE_PRIME


def newest_receipts(session: Session, site_id: UUID, *, most: int = 8) -> list[ReceiptFacts]:
    """Return the last receipts, newest first."""
    rows = (
        select(
            StockReceipt,
            Product.name.label("product"),
            Product.counted,
            Lot.text,
            Place.name.label("place"),
            KeptApart.text.label("supplier"),
        )
        .join(
            Product,
            (Product.site_id == StockReceipt.site_id) & (Product.id == StockReceipt.product_id),
        )
        .outerjoin(Lot, (Lot.site_id == StockReceipt.site_id) & (Lot.id == StockReceipt.lot_id))
        .outerjoin(
            Place, (Place.site_id == StockReceipt.site_id) & (Place.id == StockReceipt.place_id)
        )
        .outerjoin(KeptApart, KeptApart.id == StockReceipt.supplier_id)
        .where(StockReceipt.site_id == site_id, StockReceipt.superseded_no.is_(None))
        .order_by(StockReceipt.recorded_no.desc(), StockReceipt.line.desc())
        .limit(most)
    )
    return [
        ReceiptFacts(
            at=receipt.valid_from,
            product_id=receipt.product_id,
            product=product,
            counted=counted,
            lot=lot,
            expiry=receipt.expiry,
            quantity=receipt.quantity,
            place=place or "",
            box=receipt.box or "",
            supplier=supplier or "",
        )
        for receipt, product, counted, lot, place, supplier in session.execute(rows)
    ]
