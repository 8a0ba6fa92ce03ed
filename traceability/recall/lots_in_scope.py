"""Which lots and pieces of the record may be what a scope asks for, before any part is read."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.domain.keys import unit_key
from traceability.domain.scopes import Match, alike, in_dates, in_serial_range, loose_key
from traceability.domain.shelves.facts import Receipt
from traceability.domain.shelves.scope import Asked, Clause, Test
from traceability.recall.asked import ANY_KIND, AskedClause, Compiled
from traceability.recall.coverage import counted_parts
from traceability.recall.cut import Cut
from traceability.recall.record import blocks
from traceability.storage.items import Lot
from traceability.storage.part_counts import UnitSeen

__all__ = ["Wanted", "wanted"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What has to be looked up."""

    lots: list[UUID]
    units: list[UUID]
    serial_only: frozenset[UUID]
    """Products of which a piece with a known serial is looked up by that alone."""
    by_serial: frozenset[UUID]
    """Products of which some clause asks by serial, whatever the lot."""
    book_products: tuple[UUID, ...] = ()
    """Products that share a stock book's kind with those asked for."""


def wanted(session: Session, asked: Compiled, lines: dict[UUID, list[Receipt]], cut: Cut) -> Wanted:
    """Return the lots and pieces that a clause does not rule out by their own texts and dates.

    `lines` are the receipts of products whose clauses ask for dates or suppliers.
    """
    lots: dict[UUID, None] = {}
    units: dict[UUID, None] = {}
    by_lot: set[UUID] = set()
    by_serial: set[UUID] = set()
    for each in asked.clauses:
        if each.product is None:
            continue
        serials = [t for t in each.clause.tests if t.asked in _SERIAL and not t.negated]
        if serials and not _asks_for_lots(each.clause):
            by_serial.add(each.product.id)
            units |= dict.fromkeys(_units(session, each.product.id, serials, cut))
            if _all_have_serials(session, each.product.id, cut):
                continue
        by_lot.add(each.product.id)
        lots |= dict.fromkeys(_lots(session, each, each.product.id, lines, cut))
    for each in asked.clauses if asked.makerless else ():
        for product_id, kind in asked.makerless.items():
            if each.product is None or not {kind, ANY_KIND} & {*each.clause.items}:
                continue
            serials = [t for t in each.clause.tests if t.asked in _SERIAL and not t.negated]
            units |= dict.fromkeys(_units(session, product_id, serials, cut) if serials else ())
            lots |= dict.fromkeys(_lots(session, each, product_id, lines, cut))
    products = {product.id for product in asked.products}
    return Wanted(
        lots=list(lots),
        units=list(units),
        serial_only=frozenset(products - by_lot),
        by_serial=frozenset(by_serial),
    )


_SERIAL = frozenset({Asked.SERIALS, Asked.SERIAL_LIST})


def _asks_for_lots(clause: Clause) -> bool:
    return any(test.asked is Asked.LOTS and not test.negated for test in clause.tests)


def _lots(
    session: Session,
    each: AskedClause,
    product_id: UUID,
    lines: Mapping[UUID, list[Receipt]],
    cut: Cut,
) -> Iterator[UUID]:
    """Yield a product's lots that the clause does not rule out."""
    rows = select(Lot.id, Lot.text, Lot.expiry).where(
        Lot.site_id.in_(cut.sites), Lot.product_id == product_id
    )
    texts = [t for t in each.clause.tests if t.asked is Asked.LOTS and not t.negated]
    received: dict[str, list[Receipt]] = {}
    for line in lines.get(product_id, []):
        received.setdefault(line.lot, []).append(line)
    found: Iterable[Any]
    if texts:
        keys = sorted({loose_key(text) for text in texts[0].texts})
        found = (
            row
            for block in blocks(keys)
            for row in session.execute(rows.where(Lot.loose_key.in_(block)))
        )
    else:
        found = session.execute(rows)
    for row in found:
        if all(_may_hold(row, test, received.get(row.text, [])) for test in each.clause.tests):
            yield row.id


def _may_hold(row: Any, test: Test, lines: list[Receipt]) -> bool:  # noqa: ANN401 - a row of lots
    """Return whether a test may hold for some unit of a lot."""
    if test.negated:
        return not (test.asked is Asked.LOTS and row.text in test.texts)
    match test.asked:
        case Asked.LOTS:
            return any(alike(row.text, text) is not Match.OUT for text in test.texts)
        case Asked.LOT_RANGE:
            return in_serial_range(row.text, test.first, test.last) is not Match.OUT
        case Asked.MADE:
            days = [line.made for line in lines]
            return not days or any(_in(day, test) for day in days)
        case Asked.RECEIVED | Asked.SHIPPED | Asked.SUPPLIER | Asked.EXPIRES:
            return True  # a part's own date, and what had come before it, decide
        case _:
            return True


def _in(day: Any, test: Test) -> bool:  # noqa: ANN401 - a date or None
    return in_dates(day, test.first_day, test.last_day) is not Match.OUT


def _units(session: Session, product_id: UUID, tests: list[Test], cut: Cut) -> Iterator[UUID]:
    """Yield the pieces of a product whose serials all tests let through, or are alike."""
    rows = select(UnitSeen.unit_id, UnitSeen.serial).where(UnitSeen.product_id == product_id)
    lists = [test for test in tests if test.asked is Asked.SERIAL_LIST]
    if lists:
        texts = lists[0].texts
        yield from (unit_key(product_id, text) for text in texts)
        keys = sorted({loose_key(text) for text in texts})
        for block in blocks(keys):
            near = rows.where(UnitSeen.loose_key.in_(block))
            yield from (row.unit_id for row in session.execute(near))
        return
    for row in session.execute(rows):
        if all(
            in_serial_range(row.serial, test.first, test.last) is not Match.OUT for test in tests
        ):
            yield row.unit_id


def _all_have_serials(session: Session, product_id: UUID, cut: Cut) -> bool:
    """Tell whether every part of a product with a lot has its serial too, by the counters."""
    parts, _, with_serial = counted_parts(session, cut, product_id=product_id)
    return parts == with_serial
