"""What a scan, or a product and a lot as people type them, can mean.

A whole code is taken at its word, also for a lot never seen here: that none is recorded is an
answer too. What is doubtful, or only a part of a name, is offered for a person to choose from.
"""

from dataclasses import dataclass
from datetime import date
from typing import Final
from uuid import UUID

from sqlalchemy import Select, func, or_, select
from sqlalchemy.orm import Session

from traceability.domain.keys import unit_key
from traceability.domain.scopes import loose_key
from traceability.identifiers.interpret import interpret
from traceability.identifiers.reading import Context, Reading, Standard, Status
from traceability.recall.question import (
    LotNamed,
    ProductNamed,
    Question,
    UnitNamed,
    lot_named,
    named,
    product_named,
    unknown_product,
)
from traceability.storage.items import Lot, Packaging, Product

MOST_CANDIDATES: Final = 60
"""How many possible meanings are offered; beyond that the person types more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """What a text can mean."""

    lots: tuple[LotNamed, ...]
    products: tuple[ProductNamed, ...]
    exact: Question | None = None
    """The one meaning, where the text leaves no choice: a scanned code, or one exact lot."""
    look_alikes: tuple[LotNamed, ...] = ()
    """Lots whose text is only like what was typed; a person looks at them."""
    units: tuple[UnitNamed, ...] = ()
    more: bool = False
    """There are more candidates than are shown."""


def find(session: Session, text: str, lot_text: str = "", *, today: date) -> Found:
    """Return what the text, and a lot typed beside it, can mean."""
    text, lot_text = text.strip("\r\n\t "), lot_text.strip("\r\n\t ")
    reading = interpret(text, today=today, context=Context()) if text else None
    if reading is not None and not reading.private:
        if reading.device_identifier and reading.status is not Status.REJECTED:
            return _coded(session, reading, lot_text)
        half = reading.status is Status.OK or reading.reason_codes == ("missing-required",)
        if half and reading.standard is not Standard.NONE and reading.lot and not lot_text:
            # One of a pack's two symbols, the one without the product.
            return _typed(session, "", reading.lot)
    return _typed(session, text, lot_text)


def _coded(session: Session, reading: Reading, lot_text: str) -> Found:
    product = _product_of(session, reading)
    lots = [lot_text] if lot_text else [reading.lot] if reading.lot else []
    if reading.status is Status.SUSPECT and not lot_text:
        lots += [value for name, value in reading.alternative or () if name == "10"]
    wanted = tuple(lot_named(session, product, text) for text in dict.fromkeys(lots))
    sure = reading.status is Status.OK and product.known
    if not wanted and reading.serial:
        unit = UnitNamed(
            id=unit_key(product.id, reading.serial), product=product, serial=reading.serial
        )
        exact = Question(products=(product,), units=(unit,)) if sure else None
        return Found(lots=(), products=(product,), exact=exact, units=(unit,))
    if not wanted:
        known = _lots(session, "", (product.id,))
        exact = None if known or not sure else Question(products=(product,))
        return Found(
            lots=tuple(known[:MOST_CANDIDATES]),
            products=(product,),
            exact=exact,
            more=len(known) > MOST_CANDIDATES,
        )
    exact = Question(products=(product,), lots=wanted) if sure and len(wanted) == 1 else None
    alike = [each for text in lots for each in _alike(session, text, (product.id,))]
    # A lost separator glues the next field to the lot: then a lot of here is its beginning.
    alike += [
        each
        for lot in wanted
        if not lot.seen
        for each in _beginnings(session, lot.text, product.id)
    ]
    if not product.known:
        # The notice may show another packaging's code than the one entered here.
        alike += [each for text in lots for each in _lots(session, text, None) if each.text == text]
    return Found(
        lots=wanted,
        products=(product,),
        exact=exact,
        look_alikes=tuple(each for each in dict.fromkeys(alike) if each not in wanted),
    )


def _product_of(session: Session, reading: Reading) -> ProductNamed:
    standard, identifier = str(reading.standard), reading.device_identifier or ""
    level = session.scalar(
        select(Packaging).filter_by(standard=standard, identifier=identifier).limit(1)
    )
    found = product_named(session, level.product_id) if level else None
    return found or unknown_product(session, standard, identifier)


def _typed(session: Session, text: str, lot_text: str) -> Found:
    products = _products(session, text) if text else []
    if not lot_text:
        lots = _lots(session, text, None) if text else []
        return _choice(session, lots, products, text, None)
    within = tuple(product.id for product in products) or None
    lots = _lots(session, lot_text, within)
    having = {lot.product.id for lot in lots if lot.text == lot_text}
    # "Not recorded here" is an answer about that very lot, whatever others look like a part of it.
    lots += [
        lot_named(session, product, lot_text)
        for product in products[:MOST_CANDIDATES]
        if product.id not in having
    ]
    return _choice(session, lots, [], lot_text, within)


def _choice(
    session: Session,
    lots: list[LotNamed],
    products: list[ProductNamed],
    text: str,
    within: tuple[UUID, ...] | None,
) -> Found:
    exact = [lot for lot in lots if lot.text == text]
    alone = len(exact) == 1 and not products and (exact[0].seen or len(lots) == 1)
    alike = [lot for lot in _alike(session, text, within) if lot not in lots]
    return Found(
        lots=tuple(lots[:MOST_CANDIDATES]),
        products=tuple(products[:MOST_CANDIDATES]),
        exact=Question(products=(exact[0].product,), lots=(exact[0],)) if alone else None,
        look_alikes=tuple(alike[:MOST_CANDIDATES]),
        more=len(lots) > MOST_CANDIDATES or len(products) > MOST_CANDIDATES,
    )


def _products(session: Session, text: str) -> list[ProductNamed]:
    like = f"%{_escaped(text).lower()}%"
    columns = (
        Product.name,
        Product.substance,
        Product.maker,
        Product.item_number,
        Product.identifier,
        Product.kind,
    )
    rows = (
        select(Product)
        .where(or_(*(func.lower(each).like(like, escape="\\") for each in columns)))
        .order_by(Product.maker, Product.name, Product.id)
        .limit(MOST_CANDIDATES + 1)
    )
    return [named(product) for product in session.scalars(rows)]


def _lots(session: Session, text: str, products: tuple[UUID, ...] | None) -> list[LotNamed]:
    rows = _with_product()
    if text:
        rows = rows.where(func.lower(Lot.text).like(f"%{_escaped(text).lower()}%", escape="\\"))
    if products is not None:
        rows = rows.where(Lot.product_id.in_(products))
    # The exact text first, then the newest.
    rows = rows.order_by(Lot.text != text, Lot.first_no.desc(), Lot.id).limit(MOST_CANDIDATES + 1)
    return [_lot(lot, product) for lot, product in session.execute(rows)]


def _alike(session: Session, text: str, products: tuple[UUID, ...] | None) -> list[LotNamed]:
    rows = (
        _with_product()
        .where(Lot.loose_key == loose_key(text), Lot.text != text)
        .order_by(Lot.first_no.desc(), Lot.id)
        .limit(MOST_CANDIDATES)
    )
    if products is not None:
        rows = rows.where(Lot.product_id.in_(products))
    return [_lot(lot, product) for lot, product in session.execute(rows)]


def _beginnings(session: Session, text: str, product_id: UUID) -> list[LotNamed]:
    starts = [text[:length] for length in range(2, len(text))]
    rows = _with_product().where(Lot.product_id == product_id, Lot.text.in_(starts))
    rows = rows.order_by(func.length(Lot.text).desc(), Lot.id).limit(MOST_CANDIDATES)
    return [_lot(lot, product) for lot, product in session.execute(rows)]


def _with_product() -> Select[Lot, Product]:
    return select(Lot, Product).join(
        Product, (Product.site_id == Lot.site_id) & (Product.id == Lot.product_id)
    )


def _lot(lot: Lot, product: Product) -> LotNamed:
    return LotNamed(id=lot.id, product=named(product), text=lot.text, seen=True)


def _escaped(text: str) -> str:
    return text.replace("\\", "\\\\").replace("%", "\\%").replace("_", "\\_")
