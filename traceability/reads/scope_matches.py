"""What a scope names that was ever seen here, before anything is asked or saved.

Only counts, so that a person sees whether the scope was understood: nobody is confirmed or excluded
by them. Texts are looked up in blocks, by the keys that the record itself uses.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from typing import Final, TypeVar
from uuid import UUID

from sqlalchemy import func, or_, select
from sqlalchemy.orm import Session

from traceability.domain.keys import lot_key, product_key, unit_key
from traceability.domain.notice_scope import ProductRef, Said, Scope, ScopeClause, ScopeTest
from traceability.domain.scopes import Match, in_serial_range, loose_key, serial_parts
from traceability.storage.circuits import Part
from traceability.storage.equipment import EquipmentState
from traceability.storage.items import Lot, Packaging, Product
from traceability.storage.run_extras import RunPart
from traceability.storage.stock import StockReceipt

__all__ = ["ClauseMatches", "RefMatch", "TestMatches", "scope_matches"]

BLOCK: Final = 500
"""Ids of one statement; SQLite takes 32,766 at most, and a plan stays an index look-up."""
MOST_TEXTS: Final = 100_000
MOST_SPELLED: Final = 5_000
"""Numbers of a range of serials that are looked up one by one."""
_T = TypeVar("_T")


@dataclass(frozen=True, slots=True, kw_only=True)
class RefMatch:
    """A product of the notice, and what it is here."""

    ref: ProductRef
    products: tuple[tuple[UUID, str], ...]
    """Id and name; empty: not known here, so every part of its kind without a code stays open."""
    units: int | None = None
    """Pieces in the packaging that the notice names; None for the piece itself or unknown."""
    machines: int = 0
    """Machines of that kind in the register, where the notice names a kind."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TestMatches:
    """How many of the texts of one test were ever seen here."""

    test: ScopeTest
    named: int | None
    """How many texts it lists; None for a range."""
    seen: int
    alike: int
    """Other texts of here that only look like one of them."""
    counted: bool = True
    """False: the range is too wide to be looked up piece by piece; only machines were counted."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ClauseMatches:
    """One clause against what is known here."""

    refs: tuple[RefMatch, ...]
    tests: tuple[TestMatches, ...]
    """Of lots and serials; dates and suppliers are judged when the question is asked."""

    @property
    def unknown(self) -> tuple[ProductRef, ...]:
        """Products that nobody entered here."""
        return tuple(each.ref for each in self.refs if not each.products and not each.machines)


def scope_matches(session: Session, site_id: UUID, scope: Scope) -> tuple[ClauseMatches, ...]:
    """Return what each clause names that is known here. Selects only."""
    known: dict[ProductRef, RefMatch] = {}
    return tuple(_clause(session, site_id, clause, known) for clause in scope.clauses)


def _clause(
    session: Session, site_id: UUID, clause: ScopeClause, known: dict[ProductRef, RefMatch]
) -> ClauseMatches:
    for ref in clause.products:
        if ref not in known:
            known[ref] = _ref(session, site_id, ref)
    refs = tuple(known[ref] for ref in clause.products)
    products = tuple(dict.fromkeys(id_ for each in refs for id_, _ in each.products))
    kinds = tuple({ref.kind for ref in clause.products if ref.kind})
    tests = [_test(session, site_id, test, products, kinds) for test in clause.tests]
    return ClauseMatches(refs=refs, tests=tuple(each for each in tests if each is not None))


def _ref(session: Session, site_id: UUID, ref: ProductRef) -> RefMatch:
    found: dict[UUID, str] = {}
    units = None
    if ref.standard and ref.identifier:
        level = session.get(Packaging, (site_id, ref.standard, ref.identifier))
        key = product_key(ref.standard, ref.identifier, site_id=site_id)
        product = session.get(Product, (site_id, level.product_id if level else key))
        if product is not None:
            found[product.id] = product.substance or product.name
            units = level.units if level is not None and level.units > 1 else None
    if ref.maker and ref.item_number and not found:
        rows = select(Product).where(
            Product.site_id == site_id,
            func.lower(Product.maker) == ref.maker.lower(),
            func.lower(Product.item_number) == ref.item_number.lower(),
        )
        for product in session.scalars(rows.order_by(Product.name, Product.id).limit(BLOCK)):
            found[product.id] = product.substance or product.name
    machines = 0
    if ref.kind:
        counted = select(func.count()).where(
            EquipmentState.site_id == site_id,
            EquipmentState.kind == ref.kind,
            EquipmentState.valid_to.is_(None),
            EquipmentState.superseded_no.is_(None),
        )
        if ref.maker:
            counted = counted.where(func.lower(EquipmentState.maker) == ref.maker.lower())
        machines = session.scalar(counted) or 0
    return RefMatch(ref=ref, products=tuple(found.items()), units=units, machines=machines)


def _test(
    session: Session,
    site_id: UUID,
    test: ScopeTest,
    products: Sequence[UUID],
    kinds: Sequence[str],
) -> TestMatches | None:
    match test.kind:
        case Said.LOTS:
            return _lots(session, site_id, test, products)
        case Said.LOT_RANGE:
            return _in_range(test, (text for _, text in _lots_of(session, site_id, products)))
        case Said.SERIALS:
            return _serials(session, site_id, test, products, kinds)
        case Said.SERIAL_RANGE:
            return _serial_range(session, site_id, test, products, kinds)
        case _:
            return None


def _lots(
    session: Session, site_id: UUID, test: ScopeTest, products: Sequence[UUID]
) -> TestMatches:
    texts = test.texts[:MOST_TEXTS]
    seen: set[str] = set()
    alike: set[tuple[UUID, str]] = set()
    wanted = set(texts)
    for product_id in products:
        for block in _blocks([lot_key(product_id, text) for text in texts]):
            rows = select(Lot.text).where(Lot.site_id == site_id, Lot.id.in_(block))
            seen.update(session.scalars(rows))
    for keys in _blocks(list({loose_key(text) for text in texts})) if products else ():
        like = select(Lot.product_id, Lot.text).where(
            Lot.site_id == site_id, Lot.loose_key.in_(keys), Lot.product_id.in_(products)
        )
        alike.update((id_, text) for id_, text in session.execute(like) if text not in wanted)
    return TestMatches(test=test, named=len(test.texts), seen=len(seen), alike=len(alike))


def _serials(
    session: Session,
    site_id: UUID,
    test: ScopeTest,
    products: Sequence[UUID],
    kinds: Sequence[str],
) -> TestMatches:
    texts = test.texts[:MOST_TEXTS]
    wanted, keys = set(texts), {loose_key(text) for text in texts}
    seen = _units_seen(session, site_id, texts, products)
    alike = set()
    for serial in _machine_serials(session, site_id, products, kinds):
        if serial in wanted:
            seen.add(serial)
        elif loose_key(serial) in keys:
            alike.add(serial)
    return TestMatches(test=test, named=len(test.texts), seen=len(seen), alike=len(alike))


def _serial_range(
    session: Session,
    site_id: UUID,
    test: ScopeTest,
    products: Sequence[UUID],
    kinds: Sequence[str],
) -> TestMatches:
    machines = set(_machine_serials(session, site_id, products, kinds))
    found = _in_range(test, iter(machines))
    texts = _spelled_out(test)
    if texts is None:
        return replace(found, counted=not products)
    seen = _units_seen(session, site_id, texts, products) | {
        each for each in machines if in_serial_range(each, *test.ends) is Match.IN
    }
    return replace(found, seen=len(seen))


def _spelled_out(test: ScopeTest) -> list[str] | None:
    """Return every serial of a short range, with and without zeros; None: not a short one."""
    if test.first is None or test.last is None:
        return None
    (prefix, low), (other, high) = serial_parts(test.first), serial_parts(test.last)
    if prefix != other or low is None or high is None or high - low >= MOST_SPELLED:
        return None
    widths = range(1, max(len(test.first), len(test.last)) - len(prefix) + 1)
    numbers = range(low, high + 1)
    return list(dict.fromkeys(f"{prefix}{n:0{width}}" for n in numbers for width in widths))


def _units_seen(
    session: Session, site_id: UUID, texts: Sequence[str], products: Sequence[UUID]
) -> set[str]:
    seen: set[str] = set()
    for product_id in products:
        units = {unit_key(product_id, text): text for text in texts}
        for block in _blocks(list(units)):
            for rows in (
                select(Part.unit_id).where(Part.unit_id.in_(block)),
                select(RunPart.unit_id).where(RunPart.unit_id.in_(block)),
                select(StockReceipt.unit_id).where(
                    StockReceipt.site_id == site_id, StockReceipt.unit_id.in_(block)
                ),
            ):
                seen.update(units[id_] for id_ in session.scalars(rows) if id_ is not None)
    return seen


def _in_range(test: ScopeTest, texts: Iterator[str]) -> TestMatches:
    counts = dict.fromkeys(Match, 0)
    for text in set(texts):
        counts[in_serial_range(text, test.first, test.last)] += 1
    return TestMatches(test=test, named=None, seen=counts[Match.IN], alike=counts[Match.ALIKE])


def _lots_of(
    session: Session, site_id: UUID, products: Sequence[UUID]
) -> Iterator[tuple[UUID, str]]:
    for block in _blocks(list(products)):
        rows = select(Lot.id, Lot.text).where(Lot.site_id == site_id, Lot.product_id.in_(block))
        found = session.execute(rows, execution_options={"yield_per": 1000})
        yield from ((id_, text) for id_, text in found)


def _machine_serials(
    session: Session, site_id: UUID, products: Sequence[UUID], kinds: Sequence[str]
) -> Iterator[str]:
    if not products and not kinds:
        return
    rows = select(EquipmentState.serial).where(
        EquipmentState.site_id == site_id,
        EquipmentState.superseded_no.is_(None),
        EquipmentState.serial != "",
        or_(EquipmentState.kind.in_(kinds), EquipmentState.product_id.in_(products)),
    )
    yield from session.scalars(rows)


def _blocks(given: Sequence[_T]) -> Iterator[Sequence[_T]]:
    rest = iter(given)
    while block := list(islice(rest, BLOCK)):
        yield block
