"""How levels of the stock book change; circuits and the book itself both call it.

A count says what is there: what was used before it, and comes in later, changes nothing any more.
"""

from collections.abc import Callable
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.domain.events import Kind, Recorded
from traceability.domain.free_units import less_one
from traceability.domain.parts import Known
from traceability.domain.stock_book import Booked, taken_from
from traceability.domain.stock_needs import comes_with_the_pack
from traceability.storage.circuits import Circuit
from traceability.storage.items import Product
from traceability.storage.lookup import sheet_of
from traceability.storage.site import Place
from traceability.storage.stock import (
    GIVEN_BACK,
    USED,
    LotBook,
    StockBook,
    StockChange,
    StockLevel,
    level_key,
)
from traceability.storage.stock_free import batches_text, free_of, reckoned


def open_book(session: Session, event: Recorded, product_id: UUID) -> StockBook:
    """Return the product's place in the book; its first receipt or count makes it."""
    book = session.get(StockBook, (event.site_id, product_id))
    if book is None:
        book = StockBook(
            site_id=event.site_id,
            product_id=product_id,
            begun_at=event.happened_at,
            begun_no=event.number,
            counted_at=None,
        )
        session.add(book)
        session.flush()
    return book


def level_of(
    session: Session,
    event: Recorded,
    product_id: UUID,
    lot_id: UUID | None,
    place_id: UUID | None,
) -> StockLevel:
    """Return the level, made at zero where there was none."""
    key = level_key(product_id, lot_id, place_id)
    level = session.get(StockLevel, (event.site_id, key))
    if level is None:
        level = StockLevel(
            site_id=event.site_id,
            id=key,
            product_id=product_id,
            lot_id=lot_id,
            place_id=place_id,
            quantity=0,
            counted_at=None,
            counted_no=None,
        )
        session.add(level)
        session.flush()
    return level


def change(
    session: Session,
    event: Recorded,
    line: int,
    level: StockLevel,
    quantity: int,
    *,
    why: str,
    reason: str = "",
    part_id: UUID | None = None,
) -> None:
    """Add to a level (or take from it, below zero) and write down why."""
    level.quantity += quantity
    session.add(
        StockChange(
            site_id=event.site_id,
            recorded_no=event.number,
            line=line,
            at=event.happened_at,
            product_id=level.product_id,
            lot_id=level.lot_id,
            place_id=level.place_id,
            quantity=quantity,
            why=why,
            reason=reason,
            part_id=part_id,
        )
    )
    if quantity and level.lot_id is not None and why != Kind.STOCK_MOVED:
        _keep_free(session, event, level, used_one=why == USED and quantity == -1)


def _keep_free(session: Session, event: Recorded, level: StockLevel, *, used_one: bool) -> None:
    """Keep what is free of the lot in step; one more use needs no look at the others."""
    lot_id = level.lot_id
    assert lot_id is not None  # noqa: S101 - the caller looked
    session.flush()
    row = session.get(LotBook, (event.site_id, lot_id))
    free = less_one(free_of(row), event.happened_at) if row is not None and used_one else None
    if free is None:
        free = reckoned(session, event.site_id, [lot_id])
    if row is None:
        row = LotBook(site_id=event.site_id, lot_id=lot_id, product_id=level.product_id)
        session.add(row)
    row.batches, row.short = batches_text(free), free.short
    row.is_open = bool(free.batches) or free.short
    row.changed_no = event.number


def unit_used(session: Session, event: Recorded, line: int, part: Recorded) -> None:
    """Take one piece off the shelf for a part that was placed, where the shelf is counted.

    Not for what the pack brought, for what another hospital stated, nor for a second claim on a
    unit that stands elsewhere.
    """
    product_id = part.key_or_none("product")
    if product_id is None or part.flag("disputed") or part.text("known") == Known.STATED:
        return
    product = session.get(Product, (event.site_id, product_id))
    book = session.get(StockBook, (event.site_id, product_id))
    if product is None or not product.counted or book is None or event.happened_at < book.begun_at:
        return
    if event.kind is not Kind.PART_SWAPPED and _is_from_the_pack(session, event, part):
        return
    lot_id = part.key_or_none("lot_id")
    place_id = _taken_from(session, event, product_id, lot_id)
    level = level_of(session, event, product_id, lot_id, place_id)
    if level.counted_at is None or event.happened_at > level.counted_at:
        change(session, event, line, level, -1, why=USED, part_id=part.key("part"))


def unit_given_back(
    session: Session, event: Recorded, part_id: UUID, next_line: Callable[[], int]
) -> None:
    """Put back what a piece had taken: it was never in, or it was another.

    A count made since stands as it is.
    """
    rows = (
        select(StockChange)
        .filter_by(site_id=event.site_id, part_id=part_id)
        .order_by(StockChange.recorded_no, StockChange.line)
    )
    owed: dict[UUID, list[StockChange]] = {}
    session.flush()
    for row in session.scalars(rows):
        owed.setdefault(level_key(row.product_id, row.lot_id, row.place_id), []).append(row)
    for key, changes in owed.items():
        taken, level = (
            sum(row.quantity for row in changes),
            session.get(StockLevel, (event.site_id, key)),
        )
        counted_since = level is not None and (level.counted_no or 0) > changes[-1].recorded_no
        if level is not None and taken < 0 and not counted_since:
            change(session, event, next_line(), level, -taken, why=GIVEN_BACK, part_id=part_id)


def _is_from_the_pack(session: Session, event: Recorded, part: Recorded) -> bool:
    circuit = session.get(Circuit, (event.site_id, event.key("circuit")))
    sheet = circuit and sheet_of(
        session, event.site_id, circuit.circuit_type, circuit.sheet_version
    )
    slot = sheet.slot(part.text("slot")) if sheet else None
    return slot is not None and comes_with_the_pack(slot)


def _taken_from(
    session: Session, event: Recorded, product_id: UUID, lot_id: UUID | None
) -> UUID | None:
    rows = (
        select(StockLevel.quantity, Place.id, Place.kind, Place.sort, Place.name)
        .join(Place, (Place.site_id == StockLevel.site_id) & (Place.id == StockLevel.place_id))
        .where(
            StockLevel.site_id == event.site_id,
            StockLevel.product_id == product_id,
            StockLevel.lot_id.is_(None) if lot_id is None else StockLevel.lot_id == lot_id,
        )
    )
    session.flush()
    return taken_from(
        Booked(
            place_id=row.id,
            place_kind=row.kind,
            sort=row.sort,
            name=row.name,
            quantity=row.quantity,
        )
        for row in session.execute(rows)
    )
