"""What the record knows of texts and stock: receipts, rulings, makers' statements, free units."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.domain.free_units import Free
from traceability.domain.shelves.facts import CartonNotice, Item, Receipt, Ruling
from traceability.domain.shelves.scope import Asked
from traceability.recall.asked import ANY_KIND, Compiled
from traceability.recall.cut import Cut
from traceability.recall.record import blocks
from traceability.storage.base import believed_at
from traceability.storage.items import Lot, Product
from traceability.storage.kept_apart import KeptApart
from traceability.storage.notices import CartonNotice as CartonNoticeRow
from traceability.storage.notices import CartonNoticeLot, LotRuling
from traceability.storage.stock import StockBookWord, StockReceipt
from traceability.storage.stock_free import kept_free, reckoned

__all__ = ["Books", "books", "carton_notices", "free_lines", "receipts", "rulings"]

DATED = frozenset({Asked.MADE, Asked.EXPIRES, Asked.RECEIVED, Asked.SHIPPED, Asked.SUPPLIER})


@dataclass(frozen=True, slots=True, kw_only=True)
class Books:
    """What may be counted with."""

    items: Mapping[str, Item]
    free: Mapping[str, Mapping[tuple[UUID, UUID], Free]]
    """What is free by kind, then product and lot."""
    products_of: Mapping[str, tuple[UUID, ...]]
    """The products whose books enter, by kind."""

    @property
    def kinds(self) -> frozenset[str]:
        """Kinds of which at least one product's book is complete."""
        return frozenset(self.free)

    @property
    def products(self) -> tuple[UUID, ...]:
        """All products whose books enter."""
        return tuple(product for each in self.products_of.values() for product in each)

    def with_free(self, free: Mapping[str, Mapping[tuple[UUID, UUID], Free]]) -> "Books":
        """Return the books with other free units."""
        return replace(self, free=free)


def receipts(session: Session, asked: Compiled, cut: Cut) -> dict[UUID, list[Receipt]]:
    """Return the receipts of products whose clauses ask for dates or suppliers."""
    dated = {
        each.product.id: each.product.kind or ANY_KIND
        for each in asked.clauses
        if each.product is not None and each.clause.asks(DATED)
    }
    found: dict[UUID, list[Receipt]] = {}
    for product_id, item in dated.items():
        rows = (
            select(
                StockReceipt.recorded_no,
                StockReceipt.line,
                StockReceipt.valid_from,
                StockReceipt.quantity,
                StockReceipt.box,
                StockReceipt.made,
                StockReceipt.shipped,
                StockReceipt.expiry,
                Lot.expiry.label("lot_expiry"),
                Lot.text,
                KeptApart.text.label("supplier"),
            )
            .join(Lot, (Lot.site_id == StockReceipt.site_id) & (Lot.id == StockReceipt.lot_id))
            .outerjoin(KeptApart, KeptApart.id == StockReceipt.supplier_id)
            .where(
                StockReceipt.site_id.in_(cut.sites),
                StockReceipt.product_id == product_id,
                believed_at(StockReceipt, cut.number),
            )
        )
        found[product_id] = [
            Receipt(
                id=f"{row.recorded_no}/{row.line}",
                at=row.valid_from,
                recorded_at=row.valid_from,
                item=item,
                maker=str(product_id),
                lot=row.text,
                qty=row.quantity,
                box=row.box,
                made=row.made,
                shipped=row.shipped,
                expiry=row.expiry or row.lot_expiry,
                supplier=row.supplier,
            )
            for row in session.execute(rows)
        ]
    return found


def rulings(session: Session, products: Mapping[UUID, str], cut: Cut) -> list[Ruling]:
    """Return the rulings on lot texts of these products, oldest first; `products` give items."""
    rows = (
        select(LotRuling)
        .where(
            LotRuling.site_id.in_(cut.sites),
            LotRuling.product_id.in_(list(products)),
            believed_at(LotRuling, cut.number),
        )
        .order_by(LotRuling.recorded_no, LotRuling.line)
    )
    return [
        Ruling(
            id=str(row.recorded_no),
            at=row.valid_from,
            recorded_at=row.valid_from,
            item=products[row.product_id],
            maker=str(row.product_id),
            captured=row.captured,
            notice=row.notice,
            same=row.same,
        )
        for row in session.scalars(rows)
    ]


def carton_notices(session: Session, inner: Mapping[UUID, str], cut: Cut) -> list[CartonNotice]:
    """Return what makers state of the lots of these products inside packs."""
    rows = (
        select(CartonNoticeRow, Product.kind)
        .join(
            Product,
            (Product.site_id == CartonNoticeRow.site_id)
            & (Product.id == CartonNoticeRow.product_id),
        )
        .where(
            CartonNoticeRow.site_id.in_(cut.sites),
            CartonNoticeRow.inner_product_id.in_(list(inner)),
            believed_at(CartonNoticeRow, cut.number),
        )
        .order_by(CartonNoticeRow.recorded_no, CartonNoticeRow.line)
    )
    return [
        CartonNotice(
            id=str(row.recorded_no),
            at=row.valid_from,
            recorded_at=row.valid_from,
            pack_item=kind,
            pack_maker=str(row.product_id),
            pack_lots=tuple(_lots_of(session, row)),
            inner_item=inner[row.inner_product_id],
            inner_maker=str(row.inner_product_id),
            inner_lot=row.inner_lot_text,
            sole=row.sole,
            complete=row.complete,
        )
        for row, kind in session.execute(rows)
    ]


def _lots_of(session: Session, row: CartonNoticeRow) -> Iterator[str]:
    lots = select(CartonNoticeLot.text).filter_by(site_id=row.site_id, recorded_no=row.recorded_no)
    yield from session.scalars(lots.order_by(CartonNoticeLot.line))


def books(session: Session, kinds: Iterable[str], cut: Cut) -> Books:
    """Return the stock books of these kinds that a named person said to be complete."""
    items: dict[str, Item] = {}
    free: dict[str, Mapping[tuple[UUID, UUID], Free]] = {}
    products_of: dict[str, tuple[UUID, ...]] = {}
    for kind in sorted(kinds):
        rows = select(Product.site_id, Product.id, Product.maker).where(
            Product.site_id.in_(cut.sites), Product.kind == kind
        )
        products = session.execute(rows).all()
        complete = _complete(session, [row.id for row in products], cut)
        if not complete:
            continue
        site_id = products[0].site_id
        lots = kept_free(session, site_id, complete, None if cut.latest else cut.number)
        _join_ruled(session, site_id, complete, lots, cut)
        free[kind] = lots
        products_of[kind] = tuple(complete)
        items[kind] = Item(
            name=kind,
            book_complete=True,
            open_books=frozenset(str(row.id) for row in products if row.maker)
            - set(map(str, complete)),
            book_fails=any(each.short for each in lots.values()),
        )
    return Books(items=items, free=free, products_of=products_of)


def _complete(session: Session, products: list[UUID], cut: Cut) -> list[UUID]:
    rows = select(StockBookWord.product_id).where(
        StockBookWord.site_id.in_(cut.sites),
        StockBookWord.product_id.in_(products),
        StockBookWord.complete,
        StockBookWord.valid_to.is_(None),
        believed_at(StockBookWord, cut.number),
    )
    return sorted(session.scalars(rows))


def _join_ruled(
    session: Session,
    site_id: UUID,
    products: list[UUID],
    lots: dict[tuple[UUID, UUID], Free],
    cut: Cut,
) -> None:
    """Let texts that a person ruled to be one lot share its units."""
    rows = (
        select(LotRuling.product_id, LotRuling.captured, LotRuling.notice, LotRuling.same)
        .where(
            LotRuling.site_id == site_id,
            LotRuling.product_id.in_(products),
            believed_at(LotRuling, cut.number),
        )
        .order_by(LotRuling.recorded_no, LotRuling.line)
    )
    newest = {
        (row.product_id, frozenset((row.captured, row.notice))): row.same
        for row in session.execute(rows)
    }
    for (product_id, texts), same in newest.items():
        ids = select(Lot.id).where(
            Lot.site_id == site_id, Lot.product_id == product_id, Lot.text.in_(sorted(texts))
        )
        both = sorted(session.scalars(ids)) if same else []
        if len(both) > 1:
            for lot_id in both:
                lots.pop((product_id, lot_id), None)
            number = None if cut.latest else cut.number
            lots[product_id, both[0]] = reckoned(session, site_id, both, number)


def free_lines(
    session: Session, kind: str, lots: Mapping[tuple[UUID, UUID], Free], cut: Cut
) -> Iterator[Receipt]:
    """Yield free units as receipts, which is how the rules take them."""
    texts: dict[UUID, str] = {}
    for block in blocks(sorted({lot_id for _, lot_id in lots})):
        rows = select(Lot.id, Lot.text).where(Lot.site_id.in_(cut.sites), Lot.id.in_(block))
        texts |= {row.id: row.text for row in session.execute(rows)}
    for (product_id, lot_id), free in lots.items():
        for number, (at, units) in enumerate(free.batches):
            yield Receipt(
                id=f"{lot_id}/{number}",
                at=at,
                recorded_at=at,
                item=kind,
                maker=str(product_id),
                lot=texts[lot_id],
                qty=units,
            )
