"""Every kind of clause, end to end: what is received and primed by real acts, on both databases."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import timedelta
from pathlib import Path
from typing import Any
from uuid import UUID

import pytest
from sqlalchemy import func, select

from tests.make import HOUR, NOON, OXYGENATOR, PACK, TAP, TAPS, UNKNOWN, Ward, code, opened_ward
from tests.recall.asking import told
from tests.stock_acts import Shelves
from traceability.domain.exposure import Shelf
from traceability.domain.notice_scope import ProductRef, Said, Scope, ScopeClause, ScopeTest
from traceability.recall.answer import Answer
from traceability.storage.ledger import LedgerEvent

DAY = timedelta(days=1)
TAPS_OF_IT = ProductRef(standard="gs1", identifier=TAP)
OXYGENATORS = ProductRef(standard="gs1", identifier=OXYGENATOR)


@dataclass
class Unit:
    """Circuits by what their taps are: two booked lots, one that never was, and one unread."""

    ward: Ward
    early: UUID
    late: UUID
    unbooked: UUID
    unread: UUID

    def shelves(self, found: Answer) -> dict[str, tuple[str, ...]]:
        """Return how each circuit stands: "" for confirmed and excluded, else its reasons."""
        rows = {row.circuit_id: row for row in found.circuits}
        names = ("early", "late", "unbooked", "unread")
        said: dict[str, tuple[str, ...]] = {}
        for name in names:
            row = rows.get(getattr(self, name))
            if row is None:
                said[name] = ("out",)
            else:
                said[name] = ("in",) if row.shelf is Shelf.CONFIRMED else row.reasons
        return said


@pytest.fixture
def ward(url: str, tmp_path: Path) -> Iterator[Ward]:
    with opened_ward(url, tmp_path / "var") as ward:
        yield ward


def _primed(ward: Ward, text: str) -> UUID:
    circuit = ward.begin()
    for slot in TAPS:
        if text:
            ward.scan(circuit, text, slot=slot)
        else:
            ward.say(circuit, "lot-not-readable", slot)
    ward.end(circuit, lots_not_recorded=True)
    return circuit


@pytest.fixture
def unit(ward: Ward) -> Unit:
    shelves = Shelves(ward)
    first = {"made": "2031-01-10", "shipped": "2031-04-20", "supplier": "Van"}
    shelves.receive(code(TAP, "T100"), packs=9, **first)
    early = _primed(ward, code(TAP, "T100"))
    ward.now = NOON + DAY
    second = {"made": "2031-03-15", "shipped": "2031-05-05", "supplier": "Boat"}
    shelves.receive(code(TAP, "T200", expires="340430"), packs=9, **second)
    late = _primed(ward, code(TAP, "T200", expires="340430"))
    unbooked = _primed(ward, code(TAP, "X9", expires="320101"))
    return Unit(ward, early, late, unbooked, _primed(ward, ""))


def _scope(*tests: ScopeTest, **changes: Any) -> Scope:
    clause = ScopeClause(products=(TAPS_OF_IT,), tests=tests)
    return Scope(clauses=(replace(clause, **changes),))


def _dates(kind: Said, first: str | None, last: str | None) -> ScopeTest:
    return ScopeTest(kind=kind, first=first, last=last)


NOBODYS = ("maker_not_recorded",)
UNREAD = ("maker_not_recorded", "stock_book_incomplete")
NO_DATE = ("date_not_known",)
LOT_RANGE = ScopeTest(kind=Said.LOT_RANGE, first="T50", last="T150")
JANUARY = _dates(Said.MADE, "2031-01-01", "2031-01-31")


@pytest.mark.parametrize(
    ("scope", "early", "late", "unbooked", "unread"),
    [
        (_scope(), "in", "in", "in", NOBODYS),
        (_scope(ScopeTest(kind=Said.LOTS, texts=("T100", "X9"))), "in", "out", "in", UNREAD),
        (_scope(LOT_RANGE), "in", "out", "out", UNREAD),
        (_scope(JANUARY), "in", "out", NO_DATE, UNREAD),
        (_scope(_dates(Said.MADE, "2031-02-01", None)), "out", "in", NO_DATE, UNREAD),
        (
            _scope(_dates(Said.SHIPPED, "2031-05-01", "2031-05-31")),
            "out",
            "in",
            NO_DATE,
            UNREAD,
        ),
        (
            _scope(_dates(Said.RECEIVED, "2031-05-06", "2031-05-06")),
            "in",
            "out",
            NO_DATE,
            UNREAD,
        ),
        (_scope(_dates(Said.EXPIRES, None, "2032-06-30")), "out", "out", "in", UNREAD),
        (_scope(_dates(Said.EXPIRES, "2034-01-01", None)), "out", "in", "out", UNREAD),
        (_scope(ScopeTest(kind=Said.SUPPLIER, texts=("Boat",))), "out", "in", NO_DATE, UNREAD),
        (_scope(excepted=(LOT_RANGE,)), "out", "in", "in", UNREAD),
        (_scope(LOT_RANGE, excepted=(JANUARY,)), "out", "out", "out", UNREAD),
        (_scope(used_to=NOON + HOUR), "in", "out", "out", "out"),
        (_scope(LOT_RANGE, used_from=NOON + HOUR), "in", "out", "out", UNREAD),
    ],
)
def test_a_clause_tells_circuits_apart_by_lots_dates_suppliers_exceptions_and_windows(
    unit: Unit, scope: Scope, early: Any, late: Any, unbooked: Any, unread: Any
) -> None:
    expected = {"early": early, "late": late, "unbooked": unbooked, "unread": unread}
    said = unit.shelves(told(unit.ward, scope))
    assert said == {name: (v,) if isinstance(v, str) else v for name, v in expected.items()}


def test_clauses_add_up_and_each_keeps_its_own_window(unit: Unit) -> None:
    first = _scope(LOT_RANGE, used_to=NOON + HOUR).clauses
    second = _scope(ScopeTest(kind=Said.LOTS, texts=("T200",)), used_to=NOON + HOUR).clauses
    third = _scope(ScopeTest(kind=Said.LOTS, texts=("X9",))).clauses
    said = unit.shelves(told(unit.ward, Scope(clauses=first + second + third)))
    assert said == {"early": ("in",), "late": ("out",), "unbooked": ("in",), "unread": UNREAD}


def test_a_second_delivery_dates_no_part_that_went_in_before_it(unit: Unit) -> None:
    """Of one lot, two deliveries: only what was here by then can have been used."""
    Shelves(unit.ward).receive(code(TAP, "T100"), packs=2, shipped="2031-05-06", supplier="Boat")
    for test in (
        _dates(Said.RECEIVED, "2031-05-07", None),
        ScopeTest(kind=Said.SUPPLIER, texts=("Boat",)),
        _dates(Said.SHIPPED, "2031-05-06", None),
    ):
        assert unit.shelves(told(unit.ward, _scope(test)))["early"] == ("out",)
    unit.ward.now += HOUR
    after = _primed(unit.ward, code(TAP, "T100"))
    found = told(unit.ward, _scope(ScopeTest(kind=Said.SUPPLIER, texts=("Boat",))))
    (row,) = (row for row in found.circuits if row.circuit_id == after)
    assert row.reasons == NO_DATE  # of either delivery


def test_serials_are_asked_for_one_by_one_and_by_range(ward: Ward) -> None:
    texts = {"OX-5": "OX-5", "OX-0012": "OX-0012", "OX-40": "OX-40", "0X-7": "0X-7", "none": ""}
    circuits = {}
    for name, serial in texts.items():
        circuit = circuits[name] = ward.begin()
        ward.scan(circuit, code(OXYGENATOR, "L1", serial=serial))
        ward.end(circuit, lots_not_recorded=True)

    def said(test: ScopeTest) -> dict[str, tuple[str, ...]]:
        found = told(ward, Scope(clauses=(ScopeClause(products=(OXYGENATORS,), tests=(test,)),)))
        rows = {row.circuit_id: row for row in found.circuits}
        return {
            name: rows[circuit].reasons or (str(rows[circuit].shelf),)
            for name, circuit in circuits.items()
            if circuit in rows
        }

    unread, alike = ("maker_not_recorded", "serial_not_recorded"), ("lot_text_alike",)
    assert said(ScopeTest(kind=Said.SERIAL_RANGE, first="OX-1", last="OX-30")) == {
        "OX-5": ("confirmed",),
        "OX-0012": ("confirmed",),
        "0X-7": alike,
        "none": unread,
    }
    assert said(ScopeTest(kind=Said.SERIALS, texts=("OX-40", "OX5"))) == {
        "OX-40": ("confirmed",),
        "OX-5": alike,
        "none": unread,
    }


def test_what_is_inside_packs_follows_the_makers_statements_and_is_never_confirmed(
    ward: Ward,
) -> None:
    packs = {}
    for lot in ("PK1", "PK2", "PKI"):
        packs[lot] = ward.begin()
        ward.scan(packs[lot], code(PACK, lot))
        ward.end(packs[lot], lots_not_recorded=True)
    shelves = Shelves(ward)

    def said(lot: str) -> dict[str, tuple[str, ...]]:
        test = ScopeTest(kind=Said.LOTS, texts=(lot,))
        found = told(ward, Scope(clauses=(ScopeClause(products=(OXYGENATORS,), tests=(test,)),)))
        assert found.circuits_on(Shelf.CONFIRMED) == ()
        rows = {row.circuit_id: row for row in found.circuits}
        return {
            name: rows[circuit].reasons or (str(rows[circuit].shelf),)
            for name, circuit in packs.items()
            if circuit in rows
        }

    unknown = ("inner_lot_not_known",)
    assert said("OX-A") == dict.fromkeys(packs, unknown)
    shelves.carton(PACK, ["PK1"], OXYGENATOR, "OX-A", sole=True)
    # PKI looks like PK1: nobody has ruled which it is.
    alike = ("lot_text_alike",)
    assert said("OX-A") == {"PK1": ("inferred",), "PK2": unknown, "PKI": alike}
    assert said("OX-B") == {"PK2": unknown, "PKI": unknown}
    shelves.carton(PACK, ["PK1"], OXYGENATOR, "OX-A", complete=True)
    assert said("OX-A") == {"PK1": ("inferred",), "PKI": alike}
    shelves.carton(PACK, [], OXYGENATOR, "OX-C", complete=True)
    assert said("OX-C") == {}
    # That statement did not say "nothing else": so it opens the pack again for other lots.
    assert said("OX-B") == dict.fromkeys(packs, unknown)
    containing = ScopeClause(products=(OXYGENATORS,), containing=True)
    found = told(ward, Scope(clauses=(containing,)))
    assert {row.circuit_id for row in found.circuits_on(Shelf.CONFIRMED)} == set(packs.values())


def test_a_product_is_asked_for_under_every_kind_it_was_said_to_be(ward: Ward) -> None:
    """An unread part went in under the word of its day, before any part of the product was read."""
    whole = Scope(
        clauses=(ScopeClause(products=(ProductRef(standard="gs1", identifier=UNKNOWN),)),)
    )
    ward.product(UNKNOWN, "Needle-free valve", "tap")
    unread = _primed(ward, "")
    with ward.reads() as session:
        number = session.scalar(select(func.max(LedgerEvent.number))) or 0
    before = told(ward, whole, number)
    ward.at("administrator").product(UNKNOWN, "Needle-free valve", "cap")
    after = told(ward, whole)
    assert [row.circuit_id for row in after.circuits] == [unread]
    assert after.kinds == {"cap", "tap"}
    again = told(ward, whole, number)
    assert (again.kinds, again.circuits) == (before.kinds, before.circuits)


def test_an_answer_has_its_digest_again_whatever_has_become_of_the_stock(unit: Unit) -> None:
    scope = _scope(ScopeTest(kind=Said.LOTS, texts=("T100",)))
    first = told(unit.ward, scope)
    Shelves(unit.ward).receive(code(TAP, "T100"), packs=1)
    again = told(unit.ward, scope, first.cut.number)
    assert [row.quantity for row in again.stock] != [row.quantity for row in first.stock]
    assert again.digest == first.digest != told(unit.ward, scope).digest
