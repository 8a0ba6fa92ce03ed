"""What is asked: a scanned code, or a product and a lot, or a part of either, as people type it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final
from uuid import UUID

from sqlalchemy import func, or_, select
from sqlalchemy.orm import Session

from traceability.domain.keys import lot_key
from traceability.domain.scopes import loose_key
from traceability.identifiers.interpret import interpret
from traceability.identifiers.reading import Context, Status
from traceability.storage.items import Lot, Packaging, Product

MOST_CANDIDATES: Final = 60
"""How many possible meanings are offered; beyond that the person types more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ProductNamed:
    """A product as an answer names it."""

    id: UUID
    name: str
    maker: str
    item_number: str
    identifier: str
    kind: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LotNamed:
    """A lot as an answer names it. `id` exists even if the lot was never seen here."""

    id: UUID
    product: ProductNamed
    text: str
    seen: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """What an answer answers: lots of products, or every lot of a product."""

    products: tuple[ProductNamed, ...]
    lots: tuple[LotNamed, ...]
    """Empty: all lots of the products, recorded or not."""

    @property
    def kinds(self) -> frozenset[str]:
        """Kinds of the parts asked for."""
        return frozenset(product.kind for product in self.products)


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """What a text can mean."""

    lots: tuple[LotNamed, ...]
    products: tuple[ProductNamed, ...]
    exact: Question | None
    """The one meaning, where the text leaves no choice: a scanned code, or one exact lot."""
    look_alikes: tuple[LotNamed, ...] = ()
    """Lots whose text is only like what was typed; a person looks at them."""
    more: bool = False
    """There are more candidates than are shown."""


def find(session: Session, text: str, lot_text: str = "", *, today: date) -> Found:
    """Return what the text, and a lot typed beside it, can mean.

    A code that names product and lot is taken at its word, also for a lot never seen here: "none"
    is an answer too. Anything else is looked for in lots, products, makers and item numbers.
    """
    text, lot_text = text.strip("\r\n\t "), lot_text.strip("\r\n\t ")
    scanned = _scanned(session, text, lot_text, today)
    if scanned is not None:
        return scanned
    products = _products(session, text) if text else []
    named = {product.id: product for product in products}
    if lot_text:
        lots = _lots(session, lot_text, tuple(named) if text else None)
        return _found(session, lots, [], lot_text)
    lots = _lots(session, text, None) if text else []
    return _found(session, lots, products, text)


def product_named(session: Session, product_id: UUID) -> ProductNamed | None:
    """Return the product of that id."""
    product = session.scalar(select(Product).filter_by(id=product_id).limit(1))
    return None if product is None else _named(product)


def question_of(
    session: Session, product_ids: Sequence[UUID], lots: Sequence[tuple[UUID, str]]
) -> Question | None:
    """Return the question for these products and (product, lot text) pairs; None if unknown."""
    named = {}
    for product_id in (*product_ids, *(product_id for product_id, _ in lots)):
        product = product_named(session, product_id)
        if product is None:
            return None
        named[product_id] = product
    asked = tuple(_lot(session, named[product_id], text) for product_id, text in lots)
    return Question(products=tuple(named.values()), lots=asked) if named else None


def _scanned(session: Session, text: str, lot_text: str, today: date) -> Found | None:
    if not text:
        return None
    reading = interpret(text, symbology_identifier=None, today=today, context=Context())
    if reading.status is Status.REJECTED or reading.private or not reading.device_identifier:
        return None
    level = session.scalar(
        select(Packaging)
        .filter_by(standard=str(reading.standard), identifier=reading.device_identifier)
        .limit(1)
    )
    if level is None:
        return None
    product = product_named(session, level.product_id)
    if product is None:
        return None
    wanted = lot_text or reading.lot
    if not wanted:
        lots = _lots(session, "", (product.id,))
        exact = Question(products=(product,), lots=())
        return Found(lots=tuple(lots), products=(product,), exact=exact if not lots else None)
    lot = _lot(session, product, wanted)
    alike = _alike(session, wanted, (product.id,))
    exact = Question(products=(product,), lots=(lot,))
    return Found(lots=(lot,), products=(product,), exact=exact, look_alikes=tuple(alike))


def _found(
    session: Session, lots: list[LotNamed], products: list[ProductNamed], text: str
) -> Found:
    exact_lots = [lot for lot in lots if lot.text == text]
    one = len(exact_lots) == 1 and not products
    exact = Question(products=(exact_lots[0].product,), lots=(exact_lots[0],)) if one else None
    alike = [lot for lot in _alike(session, text, None) if lot not in lots]
    more = len(lots) > MOST_CANDIDATES or len(products) > MOST_CANDIDATES
    return Found(
        lots=tuple(lots[:MOST_CANDIDATES]),
        products=tuple(products[:MOST_CANDIDATES]),
        exact=exact,
        look_alikes=tuple(alike[:MOST_CANDIDATES]),
        more=more,
    )


def _products(session: Session, text: str) -> list[ProductNamed]:
    like = f"%{_escaped(text)}%"
    columns = (
        Product.name,
        Product.substance,
        Product.maker,
        Product.item_number,
        Product.identifier,
    )
    rows = (
        select(Product)
        .where(or_(*(func.lower(each).like(like.lower(), escape="\\") for each in columns)))
        .order_by(Product.maker, Product.name)
        .limit(MOST_CANDIDATES + 1)
    )
    return [_named(product) for product in session.scalars(rows)]


def _lots(session: Session, text: str, products: tuple[UUID, ...] | None) -> list[LotNamed]:
    rows = select(Lot, Product).join(
        Product, (Product.site_id == Lot.site_id) & (Product.id == Lot.product_id)
    )
    if text:
        like = f"%{_escaped(text)}%".lower()
        rows = rows.where(func.lower(Lot.text).like(like, escape="\\"))
    if products is not None:
        rows = rows.where(Lot.product_id.in_(products))
    # The exact text first, then the newest.
    rows = rows.order_by(Lot.text != text, Lot.first_no.desc()).limit(MOST_CANDIDATES + 1)
    return [_lot_named(lot, product) for lot, product in session.execute(rows)]


def _alike(session: Session, text: str, products: tuple[UUID, ...] | None) -> list[LotNamed]:
    key = loose_key(text)
    if not key:
        return []
    rows = (
        select(Lot, Product)
        .join(Product, (Product.site_id == Lot.site_id) & (Product.id == Lot.product_id))
        .where(Lot.loose_key == key, Lot.text != text)
        .limit(MOST_CANDIDATES)
    )
    if products is not None:
        rows = rows.where(Lot.product_id.in_(products))
    return [_lot_named(lot, product) for lot, product in session.execute(rows)]


def _lot(session: Session, product: ProductNamed, text: str) -> LotNamed:
    lot_id = lot_key(product.id, text)
    seen = session.scalar(select(Lot.id).filter_by(id=lot_id).limit(1)) is not None
    return LotNamed(id=lot_id, product=product, text=text, seen=seen)


def _lot_named(lot: Lot, product: Product) -> LotNamed:
    return LotNamed(id=lot.id, product=_named(product), text=lot.text, seen=True)


def _named(product: Product) -> ProductNamed:
    return ProductNamed(
        id=product.id,
        name=product.substance or product.name,
        maker=product.maker,
        item_number=product.item_number,
        identifier=product.identifier,
        kind=product.kind,
    )


def _escaped(text: str) -> str:
    return text.replace("\\", "\\\\").replace("%", "\\%").replace("_", "\\_")
