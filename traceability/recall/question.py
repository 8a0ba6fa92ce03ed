"""What is asked: lots of products, single pieces by serial, or every lot of a product."""

from collections.abc import Sequence
from dataclasses import dataclass
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.domain.keys import lot_key, product_key, unit_key
from traceability.domain.notice_scope import ProductRef, Said, Scope, ScopeClause, ScopeTest
from traceability.storage.items import Lot, Product
from traceability.storage.site import Site


@dataclass(frozen=True, slots=True, kw_only=True)
class ProductNamed:
    """A product as an answer names it."""

    id: UUID
    name: str
    maker: str
    item_number: str
    standard: str
    identifier: str
    kind: str
    """Empty for a product that is not known here: then a part of any kind may be it."""

    @property
    def known(self) -> bool:
        """Whether it was ever entered here."""
        return bool(self.kind)


@dataclass(frozen=True, slots=True, kw_only=True)
class LotNamed:
    """A lot as an answer names it. `id` exists even if the lot was never seen here."""

    id: UUID
    product: ProductNamed
    text: str
    seen: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitNamed:
    """One piece of a product, by its serial to the letter."""

    id: UUID
    product: ProductNamed
    serial: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """What an answer answers; its facts are fixed, so the same question has the same answer."""

    products: tuple[ProductNamed, ...]
    """All products asked about; those that no lot and no serial names are asked for whole."""
    lots: tuple[LotNamed, ...] = ()
    units: tuple[UnitNamed, ...] = ()

    @property
    def whole(self) -> tuple[ProductNamed, ...]:
        """Products asked for in every lot, recorded or not."""
        told = {lot.product.id for lot in self.lots} | {unit.product.id for unit in self.units}
        return tuple(product for product in self.products if product.id not in told)

    @property
    def kinds(self) -> frozenset[str]:
        """Kinds of the parts asked for; empty if it may be any."""
        if not all(product.known for product in self.products):
            return frozenset()
        return frozenset(product.kind for product in self.products)


def scope_of(question: Question) -> Scope:
    """Return the question as a notice would state it: a clause for each thing asked."""
    clauses: list[ScopeClause] = []
    for product in question.products:
        ref = ref_of(product)
        lots = tuple(lot.text for lot in question.lots if lot.product.id == product.id)
        serials = tuple(unit.serial for unit in question.units if unit.product.id == product.id)
        for kind, texts in ((Said.LOTS, lots), (Said.SERIALS, serials)):
            if texts:
                test = ScopeTest(kind=kind, texts=texts)
                clauses.append(ScopeClause(products=(ref,), tests=(test,)))
        if not lots and not serials:
            clauses.append(ScopeClause(products=(ref,)))
    return Scope(clauses=tuple(clauses))


def ref_of(product: ProductNamed) -> ProductRef:
    """Return a product as a scope names it."""
    return ProductRef(
        standard=product.standard,
        identifier=product.identifier,
        maker=product.maker,
        item_number=product.item_number,
        name=product.name,
    )


def product_named(session: Session, product_id: UUID) -> ProductNamed | None:
    """Return the product of that id."""
    product = session.scalar(select(Product).filter_by(id=product_id).limit(1))
    return None if product is None else named(product)


def unknown_product(session: Session, standard: str, identifier: str) -> ProductNamed:
    """Return a product that its code names and nobody has entered here; the known one if there is.

    Two packagings of one HIBC product differ in one digit only, so it may be known after all.
    """
    site_id = session.scalar(select(Site.site_id).limit(1)) or UUID(int=0)
    key = product_key(standard, identifier, site_id=site_id)
    return product_named(session, key) or ProductNamed(
        id=key,
        name="",
        maker="",
        item_number="",
        standard=standard,
        identifier=identifier,
        kind="",
    )


def question_of(
    session: Session,
    product_ids: Sequence[UUID],
    lots: Sequence[tuple[UUID, str]],
    *,
    serials: Sequence[tuple[UUID, str]] = (),
    unknown: Sequence[ProductNamed] = (),
) -> Question | None:
    """Return the question for products and (product, text) pairs; None if one is not known.

    `unknown` are products that were made by `unknown_product`; pairs may name them too.
    """
    products = {product.id: product for product in unknown}
    pairs = (*lots, *serials)
    for product_id in (*product_ids, *(product_id for product_id, _ in pairs)):
        if product_id not in products:
            product = product_named(session, product_id)
            if product is None:
                return None
            products[product_id] = product
    if not products:
        return None
    return Question(
        products=tuple(products.values()),
        lots=tuple(lot_named(session, products[key], text) for key, text in dict.fromkeys(lots)),
        units=tuple(
            UnitNamed(id=unit_key(key, text), product=products[key], serial=text)
            for key, text in dict.fromkeys(serials)
        ),
    )


def lot_named(session: Session, product: ProductNamed, text: str) -> LotNamed:
    """Return the lot of that very text, whether it was ever seen or not."""
    lot_id = lot_key(product.id, text)
    rows = select(Lot.id).where(Lot.site_id.in_(select(Site.site_id)), Lot.id == lot_id)
    seen = session.scalar(rows.limit(1)) is not None
    return LotNamed(id=lot_id, product=product, text=text, seen=seen)


def named(product: Product) -> ProductNamed:
    """Return a stored product as an answer names it; a fluid by its substance in full."""
    return ProductNamed(
        id=product.id,
        name=product.substance or product.name,
        maker=product.maker,
        item_number=product.item_number,
        standard=product.standard,
        identifier=product.identifier,
        kind=product.kind,
    )
