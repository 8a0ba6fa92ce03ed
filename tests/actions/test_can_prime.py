"""Can we prime? The number, what limits it, what to take first and what to order.

Source of the rules: common practice, no source; settled in review with people of the trade.
"""

from datetime import timedelta

import pytest
from sqlalchemy import select

from tests.make import PACK, SALINE, SYRINGE, TAP, TAP_CARTON, Ward, code
from tests.stock_acts import Shelves
from traceability.storage.items import Lot

LOT = "T77-0B1"


@pytest.fixture
def shelves(ward: Ward) -> Shelves:
    """Shelves that hold enough for three primes but for one tap."""
    shelves = Shelves(ward)
    shelves.receive(code(PACK, "PK26-104"), packs=3)
    shelves.receive(code(TAP, LOT), packs=8)
    shelves.receive(code(SALINE, "4K0O17I1"), packs=6)
    shelves.receive(code(SYRINGE, "SY0B40"), packs=30)
    return shelves


def test_the_part_that_is_short_limits_and_a_prime_takes_its_parts(shelves: Shelves) -> None:
    found = shelves.can_prime()
    assert found.primes is not None
    assert found.primes.count == 2
    assert [need.name for need in found.needs if need.limits] == ["Three-way tap"]
    assert (found.not_counted, found.not_in_book, found.not_known) == ((), (), ())
    shelves.ward.prime(LOT)
    after = shelves.can_prime()
    assert after.primes is not None
    assert after.primes.count == 1
    assert {need.kind: need.usable for need in after.needs} == {
        "circuit-pack": 2,
        "tap": 5,
        "fluid": 4,
        "syringe": 29,
    }


def test_a_lot_on_hold_or_too_short_counts_for_no_prime_and_is_named(shelves: Shelves) -> None:
    ward = shelves.ward
    soon = (ward.now + timedelta(days=20)).strftime("%y%m%d")
    shelves.receive(code(TAP_CARTON, "SHORT", expires=soon))
    (taps,) = [need for need in shelves.can_prime().needs if need.kind == "tap"]
    assert (taps.usable, taps.too_short, taps.on_hold) == (8, 25, 0)
    assert [pick.lot for pick in taps.picks] == [LOT]
    with ward.reads() as session:
        lot_id = session.scalars(select(Lot.id).filter_by(text=LOT)).one()
    ward.at("pharmacist").hold("lot", lot_id)
    held = shelves.can_prime()
    (taps,) = [need for need in held.needs if need.kind == "tap"]
    assert (taps.usable, taps.on_hold, taps.picks) == (0, 8, ())
    assert held.primes is not None
    assert held.primes.count == 0


def test_first_expiry_is_taken_first_and_over_as_many_lots_as_one_prime_needs(
    shelves: Shelves,
) -> None:
    shelves.receive(code(TAP, "FIRST", expires="311231"), packs=2)
    (taps,) = [need for need in shelves.can_prime().needs if need.kind == "tap"]
    assert [(pick.lot, pick.quantity) for pick in taps.picks] == [("FIRST", 2), (LOT, 8)]


def test_the_weeks_ahead_go_by_the_unit_s_own_use(shelves: Shelves) -> None:
    ward = shelves.ward
    for _ in range(2):
        ward.prime(LOT)
    ward.now += timedelta(days=14)
    found = shelves.can_prime(weeks=8)
    assert found.rate is not None
    assert (found.rate.primes, found.rate.days) == (2, 14)
    assert [week.possible.count for week in found.weeks] == [0] * 8
    assert [week.wanted for week in found.weeks] == [1] * 8
    assert {need.kind: need.to_order for need in found.needs} == {
        "circuit-pack": 7,
        "tap": 8 * 3 - 2,
        "fluid": 8 * 2 - 2,
        "syringe": 0,
    }


def test_ward_stock_gives_no_number_and_stops_none(shelves: Shelves) -> None:
    ward = shelves.ward
    known = {"substance": "Sodium chloride 0.9 %", "volume_ml": 1000, "maker": "Farrowend Fluids"}
    ward.at("stock").product(SALINE, "Saline", "fluid", counted=False, **known)
    found = shelves.can_prime()
    assert found.not_counted == ("Sodium chloride 0.9 %, 1 L",)
    assert "fluid" not in {need.kind for need in found.needs}


def test_a_lot_nobody_booked_in_is_looked_at_and_kept_with_a_reason(shelves: Shelves) -> None:
    ward = shelves.ward
    circuit = ward.begin()
    known = ward.scan(circuit, code(TAP, LOT))
    asked = ward.asks(circuit, code(TAP, "T99"), slot="tap-middle")
    assert (known.verdict, known.facts.get("not_in_book")) == ("accepted", None)
    assert (asked.verdict, asked.code) == ("look-again", "never-received")
    new = ward.go_on(circuit, reason="by-hand")
    assert (new.verdict, new.facts.get("not_in_book")) == ("accepted", True)
    (taps,) = [need for need in shelves.can_prime().needs if need.kind == "tap"]
    assert (taps.usable, taps.owed) == (6, 1)
