"""Say that a product's stock book is complete, or that it no longer is.

Only then may a recall count: that a tap whose lot nobody recorded must have been of the one lot
that is short, or cannot have been of a lot that is all accounted for. So it is said by a named
person, after a count that agreed, and a count that does not agree ends it.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.actions.once import Asked, Done, Site, answer_once, entered, ledger_of
from traceability.actions.stock.booking import counted_product
from traceability.domain.events import Kind
from traceability.domain.moments import believed_moment
from traceability.domain.people import Right
from traceability.errors import BadValue
from traceability.storage.stock import StockBook

__all__ = ["DeclareBook", "declare_book"]


@dataclass(frozen=True, slots=True, kw_only=True)
class DeclareBook(Asked):
    """Everything that came and went of this product is in the book; or that is taken back."""

    kind: ClassVar[str] = "declare-stock-book"
    right: ClassVar[Right | None] = Right.LISTS
    product_id: UUID
    complete: bool
    at: datetime


def declare_book(asked: DeclareBook, *, site: Site) -> Done:
    """Record the word.

    Raises:
        UnknownCode: no such product. BadValue: ward stock, or a book that nobody has counted yet.
    """
    return answer_once(asked, _declare, site)


def _declare(asked: DeclareBook, session: Session, site: Site) -> Done:
    product = counted_product(session, site, asked.product_id)
    book = session.get(StockBook, (site.id, product.id))
    if asked.complete and (book is None or book.counted_at is None):
        raise BadValue(field="stock book", value=product.name, why="not-counted-yet")
    ledger = ledger_of(asked, session, site)
    at, noted = believed_moment(asked.at, now=ledger.now)
    body = {
        "product": product.id,
        "complete": asked.complete,
        "device_at": asked.at,
        "cautions": noted,
    }
    return entered(
        ledger,
        Kind.STOCK_BOOK_DECLARED,
        body,
        at=at,
        subject=product.id,
        code="stock-book-complete" if asked.complete else "stock-book-open",
        facts={"name": product.name},
    )
