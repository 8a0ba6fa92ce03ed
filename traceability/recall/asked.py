"""A notice's scope as clauses about products of this record.

A product is the pair of its kind and its key here, so that the same lot text under two products is
two lots; a machine is judged under a name of its own for each clause, since the register names
makers and models in words.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final
from uuid import UUID

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from traceability.domain.at_the_run import EQUIPMENT_KINDS
from traceability.domain.keys import product_key
from traceability.domain.notice_scope import ProductRef, Said, Scope, ScopeClause, ScopeTest
from traceability.domain.shelves.scope import Asked, Clause, Test
from traceability.recall.cut import Cut
from traceability.recall.question import ProductNamed, named, product_named, unknown_product
from traceability.storage.items import Packaging, Product, ProductKind
from traceability.storage.notices import CartonNotice
from traceability.storage.part_counts import BLOCK, PartCount

__all__ = ["ANY_KIND", "ASKED", "AskedClause", "Compiled", "compiled", "products_of"]

ANY_KIND: Final = "any kind"
"""Item of a product that was never entered here: a part that nobody named may be it."""

ASKED: Final = "asked"
"""Maker under which machines stand that a clause asks for."""

_TESTS: Final = {
    Said.LOTS: Asked.LOTS,
    Said.LOT_RANGE: Asked.LOT_RANGE,
    Said.SERIALS: Asked.SERIAL_LIST,
    Said.SERIAL_RANGE: Asked.SERIALS,
    Said.MADE: Asked.MADE,
    Said.EXPIRES: Asked.EXPIRES,
    Said.RECEIVED: Asked.RECEIVED,
    Said.SHIPPED: Asked.SHIPPED,
    Said.SUPPLIER: Asked.SUPPLIER,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Said:
    """A product as it was known by the cut."""

    product: ProductNamed
    kinds: tuple[str, ...]
    """All that it was said to be, the last one first; none: not known here."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AskedClause:
    """One clause about one product, or about machines."""

    clause: Clause
    product: ProductNamed | None
    """None: machines named by their kind and maker."""
    machines: tuple[ProductRef, ...] = ()
    """What the machines of the clause are called; empty for parts."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Compiled:
    """A scope as the record understands it."""

    clauses: tuple[AskedClause, ...]
    products: tuple[ProductNamed, ...]
    """All products named, known here or not, each once."""
    makerless: Mapping[UUID, str] = field(default_factory=dict)
    """Products of the same kinds whose maker nobody recorded, with their kinds: they may be one
    that is named. All of them where a product is named whose kind nobody entered."""

    @property
    def items(self) -> frozenset[str]:
        """Kinds of parts that are looked at, `ANY_KIND` among them where it may be any."""
        parts = (each.clause.items for each in self.clauses if not each.machines)
        return frozenset(item for items in parts for item in items)

    @property
    def kinds(self) -> frozenset[str]:
        """Kinds of parts that are looked at; empty if it may be any, or if none is."""
        return frozenset() if ANY_KIND in self.items else self.items

    @property
    def asks_for_parts(self) -> bool:
        """Whether any clause asks for more than machines."""
        return bool(self.items)


def compiled(session: Session, scope: Scope, cut: Cut) -> Compiled:
    """Return the scope's clauses, one for each product, and the products that they name."""
    clauses: list[AskedClause] = []
    products: dict[UUID, ProductNamed] = {}
    for number, clause in enumerate(scope.clauses):
        machines: list[ProductRef] = []
        for ref in clause.products:
            found = [_as_said(session, each, cut) for each in products_of(session, ref)]
            kinds = {each.product.kind for each in found} | {ref.kind} - {""}
            if kinds & set(EQUIPMENT_KINDS):
                machines.append(ref)
                products |= {each.product.id: each.product for each in found}
                continue
            for each in _packs_with(session, found, cut) if clause.containing else found:
                products[each.product.id] = each.product
                clauses.append(_of_product(session, each, clause, cut))
        if machines:
            clauses.append(_of_machines(clause, tuple(machines), number))
    whole = Compiled(clauses=tuple(clauses), products=tuple(products.values()))
    return replace(whole, makerless=_makerless(session, whole, cut))


def _makerless(session: Session, asked: Compiled, cut: Cut) -> dict[UUID, str]:
    rows = select(Product.id, Product.kind).where(
        Product.site_id.in_(cut.sites),
        Product.maker == "",
        Product.id.not_in([product.id for product in asked.products]),
    )
    if ANY_KIND not in asked.items:
        rows = rows.where(Product.kind.in_(sorted(asked.kinds)))
    return {row.id: row.kind for row in session.execute(rows)}


def products_of(session: Session, ref: ProductRef) -> list[ProductNamed]:
    """Return the products that a reference means; one that is not known here stands for itself.

    A code of any packaging level means the product inside; a kind alone means no product.
    """
    if ref.standard and ref.identifier:
        level = select(Packaging.product_id).filter_by(
            standard=ref.standard, identifier=ref.identifier
        )
        product_id = session.scalar(level.limit(1))
        known = product_named(session, product_id) if product_id else None
        return [known or unknown_product(session, ref.standard, ref.identifier)]
    if not ref.item_number:
        return []
    rows = select(Product).where(
        func.lower(Product.maker) == ref.maker.lower(),
        func.lower(Product.item_number) == ref.item_number.lower(),
    )
    found = [named(product) for product in session.scalars(rows.order_by(Product.id))]
    return found or [_unheard_of(ref)]


def _unheard_of(ref: ProductRef) -> ProductNamed:
    text = f"{ref.maker} {ref.item_number}"
    return ProductNamed(
        id=product_key("none", text, site_id=UUID(int=0)),
        name=ref.name,
        maker=ref.maker,
        item_number=ref.item_number,
        standard="",
        identifier=text,
        kind="",
    )


def _packs_with(session: Session, inside: Iterable[_Said], cut: Cut) -> Iterator[_Said]:
    """Yield the packs that a maker's statement says to contain one of the products."""
    rows = select(CartonNotice.product_id).where(
        CartonNotice.site_id.in_(cut.sites),
        CartonNotice.inner_product_id.in_([each.product.id for each in inside]),
        CartonNotice.recorded_no <= cut.number,
    )
    for product_id in session.scalars(rows.distinct().order_by(CartonNotice.product_id)):
        product = product_named(session, product_id)
        if product is not None:
            yield _as_said(session, product, cut)


def _as_said(session: Session, product: ProductNamed, cut: Cut) -> _Said:
    """Return the product with all kinds that it was said to be by the cut.

    One that was entered later has the kind that it was entered with.
    """
    rows = select(ProductKind.kind).where(
        ProductKind.site_id.in_(cut.sites), ProductKind.product_id == product.id
    )
    number = ProductKind.recorded_no
    said = session.scalars(rows.where(number <= cut.number).order_by(number.desc())).all()
    said = said or session.scalars(rows.order_by(number).limit(1)).all()
    kinds = tuple(dict.fromkeys(said))
    return _Said(product=replace(product, kind=next(iter(kinds), "")), kinds=kinds)


def _of_product(session: Session, said: _Said, clause: ScopeClause, cut: Cut) -> AskedClause:
    product, items = said.product, list(said.kinds or (ANY_KIND,))
    # A part of it may have gone in under another word: at another hospital, or told late.
    rows = select(PartCount.kind).where(
        PartCount.product_id == product.id, PartCount.block <= cut.number // BLOCK
    )
    of_parts = session.scalars(rows.distinct().order_by(PartCount.kind))
    items += [kind for kind in of_parts if kind not in items]
    return AskedClause(clause=_clause(clause, str(product.id), items), product=product)


def _of_machines(clause: ScopeClause, machines: tuple[ProductRef, ...], number: int) -> AskedClause:
    item = f"machine of clause {number}"
    return AskedClause(clause=_clause(clause, ASKED, [item]), product=None, machines=machines)


def _clause(clause: ScopeClause, maker: str, items: Sequence[str]) -> Clause:
    return Clause(
        maker=maker,
        items=tuple(items),
        tests=(
            *(_test(test, negated=False) for test in clause.tests),
            *(_test(test, negated=True) for test in clause.excepted),
        ),
        since=clause.used_from,
        until=clause.used_to,
    )


def _test(test: ScopeTest, *, negated: bool) -> Test:
    asked = _TESTS[test.kind]
    if asked in {Asked.MADE, Asked.EXPIRES, Asked.RECEIVED, Asked.SHIPPED}:
        first, last = test.days()
        return Test(asked=asked, first_day=first, last_day=last, negated=negated)
    return Test(asked=asked, texts=test.texts, first=test.first, last=test.last, negated=negated)
