"""Questions to the stock book that acts and reads share."""

from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.storage.items import Product
from traceability.storage.stock import StockBook, StockLevel, StockReceipt


def is_missing_in_book(session: Session, product: Product, lot_id: UUID | None) -> bool:
    """Tell whether a lot was neither received nor counted, though its product is in the book.

    Ward stock and products that nobody has begun to count are never missing.
    """
    if lot_id is None or not product.counted:
        return False
    if session.get(StockBook, (product.site_id, product.id)) is None:
        return False
    received = select(StockReceipt.recorded_no).filter_by(
        site_id=product.site_id, product_id=product.id, lot_id=lot_id, superseded_no=None
    )
    counted = (
        select(StockLevel.id)
        .filter_by(site_id=product.site_id, product_id=product.id, lot_id=lot_id)
        .where(StockLevel.counted_no.is_not(None))
    )
    return all(session.scalar(rows.limit(1)) is None for rows in (received, counted))
