"""What is on the shelves of what is asked for, by the stock book as it stands now.

Stock comes first: it is held before anybody is told anything. The book keeps running numbers, so it
speaks of now, also in an answer as of an earlier entry; the page says so.
"""

from collections.abc import Iterator
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import Row, select
from sqlalchemy.orm import Session

from traceability.domain.exposure import Shelf
from traceability.domain.shelves.facts import PartIn
from traceability.domain.shelves.situation import Use
from traceability.domain.shelves.values import Judge, Unit, Value
from traceability.recall.answered import StockRow
from traceability.recall.asked import ANY_KIND
from traceability.recall.cut import Cut
from traceability.recall.known import Known
from traceability.recall.record import blocks
from traceability.storage.holds import Hold
from traceability.storage.items import Lot
from traceability.storage.stock import SOME, StockLevel

__all__ = ["in_stock"]


def in_stock(session: Session, world: Known, now: datetime, cut: Cut) -> Iterator[StockRow]:
    """Yield what the shelves hold that is in the scope, or may be; surest first."""
    products = {product.id: product.kind or ANY_KIND for product in world.asked.products}
    rows = _levels(session, list(products), cut)
    subjects = {key for row in rows for key in (row.lot_id, row.product_id) if key}
    held = _held(session, subjects, cut)
    judge = Judge(world.situation)
    found = []
    for row in rows:
        value = _value(judge, world, products[row.product_id], row, now)
        if value.no:
            continue
        found.append(
            StockRow(
                site_id=row.site_id,
                product_id=row.product_id,
                lot_id=row.lot_id,
                lot=row.text,
                place_id=row.place_id,
                quantity=row.quantity,
                shelf=Shelf.CONFIRMED if value.yes else Shelf.CANNOT_BE_EXCLUDED,
                reasons=tuple(sorted(map(str, value.reasons))),
                on_hold=row.lot_id in held or row.product_id in held,
            )
        )
    yield from sorted(
        found, key=lambda row: (row.shelf is not Shelf.CONFIRMED, row.lot or "", str(row.place_id))
    )


def _levels(session: Session, products: list[UUID], cut: Cut) -> list[Row[Any]]:
    found: list[Row[Any]] = []
    for block in blocks(products):
        rows = (
            select(
                StockLevel.site_id,
                StockLevel.product_id,
                StockLevel.lot_id,
                StockLevel.place_id,
                StockLevel.quantity,
                Lot.text,
                Lot.expiry,
            )
            .outerjoin(Lot, (Lot.site_id == StockLevel.site_id) & (Lot.id == StockLevel.lot_id))
            .where(StockLevel.site_id.in_(cut.sites), StockLevel.product_id.in_(block), SOME)
        )
        found += list(session.execute(rows))
    return found


def _held(session: Session, subjects: set[UUID], cut: Cut) -> set[UUID]:
    found: set[UUID] = set()
    for block in blocks(sorted(subjects)):
        rows = select(Hold.subject_id).where(
            Hold.site_id.in_(cut.sites),
            Hold.subject_id.in_(block),
            Hold.valid_to.is_(None),
            Hold.superseded_no.is_(None),
        )
        found |= set(session.scalars(rows))
    return found


def _value(judge: Judge, world: Known, item: str, row: Row[Any], now: datetime) -> Value:
    """Judge pieces on the shelf as a part that goes in now."""
    part = PartIn(p="", item=item, maker=str(row.product_id), lot=row.text, expiry=row.expiry)
    use = Use(key=-1, part=part, circuit="", start=now, end=None, foreign=False)
    unit = Unit(maker=part.maker, lot=part.lot, serial=None)
    best = Value()
    for each in world.asked.clauses:
        value = judge.value(use, unit, each.clause)
        if value.yes:
            return value
        best = Value(reasons=best.reasons | value.reasons)
    return best
