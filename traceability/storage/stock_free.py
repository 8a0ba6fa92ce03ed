"""What is free of lots, as kept or reckoned from their rows, now or as of a ledger number."""

import json
from collections import defaultdict
from collections.abc import Collection, Iterable
from datetime import UTC, datetime
from typing import Final
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.domain.events import Kind
from traceability.domain.free_units import Free, free_units
from traceability.storage.base import believed_at
from traceability.storage.items import Lot
from traceability.storage.stock import GIVEN_BACK, USED, LotBook, StockChange, StockReceipt

__all__ = ["batches_text", "free_of", "kept_free", "reckoned"]

BOOKED: Final = frozenset({Kind.STOCK_COUNTED, Kind.STOCK_OUT})
"""Changes of a lot's number that are no receipt and no use; a move changes none."""


def reckoned(
    session: Session, site_id: UUID, lot_ids: Collection[UUID], as_of_no: int | None = None
) -> Free:
    """Return what is free of some lots that count as one, from all their rows.

    A use that was taken back was none from the beginning: the unit was there all the time.
    """
    # By product and lot: receipts have no index of lots alone.
    products = select(Lot.product_id).where(Lot.site_id == site_id, Lot.id.in_(lot_ids))
    receipts = select(StockReceipt.valid_from, StockReceipt.quantity).where(
        StockReceipt.site_id == site_id,
        StockReceipt.product_id.in_(products),
        StockReceipt.lot_id.in_(lot_ids),
        believed_at(StockReceipt, as_of_no),
    )
    changes = select(
        StockChange.recorded_no,
        StockChange.at,
        StockChange.quantity,
        StockChange.why,
        StockChange.part_id,
    ).where(StockChange.site_id == site_id, StockChange.lot_id.in_(lot_ids))
    if as_of_no is not None:
        changes = changes.where(StockChange.recorded_no <= as_of_no)
    came = [(row.valid_from, row.quantity) for row in session.execute(receipts)]
    used: list[tuple[datetime, int]] = []
    by_part: dict[UUID, int] = defaultdict(int)
    used_at: dict[UUID, datetime] = {}
    by_event: dict[tuple[int, datetime], int] = defaultdict(int)
    for row in session.execute(changes):
        if row.why in {USED, GIVEN_BACK}:
            by_part[row.part_id] += row.quantity
            if row.why == USED:
                used_at[row.part_id] = row.at
        elif row.why in BOOKED:
            by_event[row.recorded_no, row.at] += row.quantity
    used += [(used_at[part], -units) for part, units in by_part.items() if units < 0]
    used += [(at, -units) for (_, at), units in by_event.items() if units < 0]
    came += [(at, units) for (_, at), units in by_event.items() if units > 0]
    return free_units(came, used)


def batches_text(free: Free) -> str:
    """Return the batches as the table keeps them."""
    pairs = [
        [at.astimezone(UTC).isoformat(timespec="microseconds"), units] for at, units in free.batches
    ]
    return json.dumps(pairs, separators=(",", ":"))


def free_of(row: LotBook) -> Free:
    """Return what a kept row says."""
    return _free(row.batches, row.short)


def _free(text: str, short: bool) -> Free:
    batches = tuple((datetime.fromisoformat(at), units) for at, units in json.loads(text))
    return Free(batches=batches, short=short)


def kept_free(
    session: Session, site_id: UUID, product_ids: Iterable[UUID], as_of_no: int | None = None
) -> dict[tuple[UUID, UUID], Free]:
    """Return what is free by product and lot, lots without anything free left out.

    As of an earlier number, lots that changed since are reckoned from their rows; those are the
    lots that were in use then, however long ago that was.
    """
    found: dict[tuple[UUID, UUID], Free] = {}
    for product_id in product_ids:
        of_product = select(LotBook.lot_id, LotBook.batches, LotBook.short).where(
            LotBook.site_id == site_id, LotBook.product_id == product_id
        )
        open_now = of_product.where(LotBook.is_open)
        if as_of_no is not None:
            open_now = open_now.where(LotBook.changed_no <= as_of_no)
        for row in session.connection().execute(open_now):
            found[product_id, row.lot_id] = _free(row.batches, row.short)
        if as_of_no is None:
            continue
        later = (
            of_product.join(Lot, (Lot.site_id == LotBook.site_id) & (Lot.id == LotBook.lot_id))
            .where(LotBook.changed_no > as_of_no, Lot.first_no <= as_of_no)
            .with_only_columns(LotBook.lot_id)
        )
        for lot_id in session.scalars(later):
            free = reckoned(session, site_id, [lot_id], as_of_no)
            if free.batches or free.short:
                found[product_id, lot_id] = free
    return found
