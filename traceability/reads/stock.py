"""What the shelves hold by the book: each lot in each place, and what speaks against taking it."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Final
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy import Row, Select, select
from sqlalchemy.orm import Session

from traceability.domain.stock import Fitness, ShelfLot, fitness
from traceability.storage.holds import Hold
from traceability.storage.items import Lot, Product
from traceability.storage.people import Person
from traceability.storage.site import Place
from traceability.storage.stock import SOME, StockBook, StockBookWord, StockLevel


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelFacts:
    """One lot in one place."""

    product_id: UUID
    lot_id: UUID | None
    lot: str | None
    """None: the pieces carry no lot."""
    place_id: UUID | None
    place: str
    """Empty: no place was said."""
    quantity: int
    expiry: date | None
    counted_at: datetime | None
    hold: str
    """Notice or reason of the hold on the lot or its product; empty if free."""
    fitness: Fitness
    """What it is good for now, the length of a stay on the shelf left out."""

    @property
    def shelf_lot(self) -> ShelfLot:
        """The same as the rules of `domain.stock` take it."""
        return ShelfLot(
            product=str(self.product_id),
            lot=self.lot,
            quantity=self.quantity,
            expiry=self.expiry,
            place=self.place,
            on_hold=bool(self.hold),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class BookWord:
    """Whether recall answers may count with a product's book."""

    complete: bool
    at: datetime
    person: str
    """Empty: a count that did not agree ended it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ProductStock:
    """A product on the shelves."""

    id: UUID
    name: str
    maker: str
    item_number: str
    kind: str
    substance: str
    volume_ml: int | None
    circuit_type: str
    counted: bool
    in_book: bool
    """Something of it was received or counted; before that it has no number."""
    counted_at: datetime | None
    book: BookWord | None
    """What was said last of its book; None: nothing yet."""
    hold: str
    levels: tuple[LevelFacts, ...]
    """Only what is there or owed, first expiry first."""

    @property
    def total(self) -> int:
        """Units by the book, whatever they are good for."""
        return sum(level.quantity for level in self.levels)

    @property
    def usable(self) -> int:
        """Units that may be taken now; what is owed is taken off."""
        return sum(
            level.quantity if level.fitness is Fitness.USABLE else min(level.quantity, 0)
            for level in self.levels
        )

    @property
    def to_count(self) -> bool:
        """Whether more was used than was booked in somewhere."""
        return any(level.quantity < 0 for level in self.levels)


def stock(session: Session, site_id: UUID, now: datetime, zone: ZoneInfo) -> list[ProductStock]:
    """Return every product with what the shelves hold of it, by kind and name."""
    products = select(Product).filter_by(site_id=site_id).order_by(Product.kind, Product.name)
    levels = select(StockLevel, Lot.text, Lot.expiry, Place.name).where(
        StockLevel.site_id == site_id, SOME
    )
    return _with_levels(session, site_id, list(session.scalars(products)), levels, now, zone)


def product_stock(
    session: Session, site_id: UUID, product_id: UUID, now: datetime, zone: ZoneInfo
) -> ProductStock | None:
    """Return one product with what the shelves hold of it, or None if it is not known."""
    product = session.get(Product, (site_id, product_id))
    if product is None:
        return None
    levels = select(StockLevel, Lot.text, Lot.expiry, Place.name).where(
        StockLevel.site_id == site_id, StockLevel.product_id == product_id, SOME
    )
    return _with_levels(session, site_id, [product], levels, now, zone)[0]


def _with_levels(
    session: Session,
    site_id: UUID,
    products: Sequence[Product],
    levels: Select[StockLevel, str, date | None, str],
    now: datetime,
    zone: ZoneInfo,
) -> list[ProductStock]:
    rows = session.execute(
        levels.outerjoin(
            Lot, (Lot.site_id == StockLevel.site_id) & (Lot.id == StockLevel.lot_id)
        ).outerjoin(
            Place, (Place.site_id == StockLevel.site_id) & (Place.id == StockLevel.place_id)
        )
    ).all()
    subjects = {row[0].lot_id for row in rows if row[0].lot_id} | {each.id for each in products}
    holds = _holds(session, site_id, subjects)
    books = select(StockBook).filter_by(site_id=site_id)
    book = {each.product_id: each for each in session.scalars(books)}
    said = _words_on_books(session, site_id)
    by_product: dict[UUID, list[LevelFacts]] = {}
    for row in rows:
        facts = _level(row, holds, now, zone)
        by_product.setdefault(facts.product_id, []).append(facts)
    return [
        ProductStock(
            id=each.id,
            name=each.name,
            maker=each.maker,
            item_number=each.item_number,
            kind=each.kind,
            substance=each.substance,
            volume_ml=each.volume_ml,
            circuit_type=each.circuit_type,
            counted=each.counted,
            in_book=each.counted and each.id in book,
            counted_at=book[each.id].counted_at if each.id in book else None,
            book=said.get(each.id),
            hold=holds.get(each.id, ""),
            levels=tuple(sorted(by_product.get(each.id, []), key=_first_expiry_first))
            if each.counted
            else (),
        )
        for each in products
    ]


def _words_on_books(session: Session, site_id: UUID) -> dict[UUID, BookWord]:
    rows = (
        select(StockBookWord, Person.name)
        .outerjoin(
            Person,
            (Person.site_id == StockBookWord.site_id) & (Person.id == StockBookWord.person_id),
        )
        .where(
            StockBookWord.site_id == site_id,
            StockBookWord.superseded_no.is_(None),
            StockBookWord.valid_to.is_(None),
        )
    )
    return {
        word.product_id: BookWord(complete=word.complete, at=word.valid_from, person=name or "")
        for word, name in session.execute(rows)
    }


def _level(
    row: Row[StockLevel, str, date | None, str],
    holds: dict[UUID, str],
    now: datetime,
    zone: ZoneInfo,
) -> LevelFacts:
    level, lot, expiry, place = row
    hold = holds.get(level.product_id) or (holds.get(level.lot_id) if level.lot_id else "") or ""
    shelf_lot = ShelfLot(
        product=str(level.product_id),
        lot=lot,
        quantity=level.quantity,
        expiry=expiry,
        on_hold=bool(hold),
    )
    return LevelFacts(
        product_id=level.product_id,
        lot_id=level.lot_id,
        lot=lot,
        place_id=level.place_id,
        place=place or "",
        quantity=level.quantity,
        expiry=expiry,
        counted_at=level.counted_at,
        hold=hold,
        fitness=fitness(shelf_lot, at=now, zone=zone),
    )


def _first_expiry_first(level: LevelFacts) -> tuple[date, str, str]:
    return level.expiry or date.max, level.lot or "", level.place


AT_ONCE: Final = 500
"""Ids in one question; both databases take more."""


def _holds(session: Session, site_id: UUID, subjects: Iterable[UUID]) -> dict[UUID, str]:
    """Return notice or reason of the open hold on each lot or product that has one."""
    ids, found = sorted(subjects), {}
    for start in range(0, len(ids), AT_ONCE):
        rows = select(Hold.subject_id, Hold.notice, Hold.reason).where(
            Hold.site_id == site_id,
            Hold.subject_id.in_(ids[start : start + AT_ONCE]),
            Hold.valid_to.is_(None),
            Hold.superseded_no.is_(None),
        )
        for row in session.execute(rows):
            found[row.subject_id] = row.notice or row.reason
    return found
