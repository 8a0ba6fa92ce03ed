"""What one prime takes from the shelf, and from which place the book takes it.

Source: common practice, no source; settled in review with people of the trade.
"""

from dataclasses import replace
from datetime import date
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.make import SLOTS, TYPE
from traceability.domain.sheets import Sheet
from traceability.domain.stock_book import Booked, Doubt, doubts_of, taken_from
from traceability.domain.stock_needs import Fit, PrimeNeed, fits, needs_of

SHEET = Sheet(circuit_type=TYPE, version=1, way="wet-closed", fill_ml=1500, slots=SLOTS)
NEEDS = {need.kind: need for need in needs_of(SHEET)}


def test_a_prime_takes_what_the_sheet_counts_and_the_pack_does_not_bring() -> None:
    assert {kind: need.count for kind, need in NEEDS.items()} == {
        "circuit-pack": 1,
        "tap": 3,
        "fluid": 2,
        "syringe": 1,
    }


@pytest.mark.parametrize(
    ("kind", "substance", "volume_ml", "circuit_type", "fit"),
    [
        ("tap", "", None, "", True),
        ("tap", "", None, TYPE, True),
        ("tap", "", None, "Neonatal 1/4", False),
        ("circuit-pack", "", None, TYPE, True),
        ("circuit-pack", "", None, "", False),
        ("circuit-pack", "", None, "Neonatal 1/4", False),
        ("fluid", "sodium chloride 0.9%", 1000, "", True),
        ("fluid", "Sodium chloride 0.9 %", 500, "", False),
        ("fluid", "Sodium chloride 3 %", 1000, "", False),
        ("fluid", "Sodium chloride 0.9 %", None, "", True),
    ],
)
def test_what_can_serve_a_need(
    kind: str, substance: str, volume_ml: int | None, circuit_type: str, *, fit: bool
) -> None:
    product = Fit(kind=kind, substance=substance, volume_ml=volume_ml, circuit_type=circuit_type)
    assert fits(NEEDS[kind], product) is fit
    assert not fits(replace(NEEDS[kind], kind="oxygenator"), product)


def test_two_strengths_are_two_needs() -> None:
    strong = replace(SLOTS[6], id="strong", substance="Sodium chloride 3 %")
    found = needs_of(replace(SHEET, slots=(*SLOTS, strong)))
    fluids: list[PrimeNeed] = [need for need in found if need.kind == "fluid"]
    assert [(need.substance, need.count) for need in fluids] == [
        ("Sodium chloride 0.9 %", 2),
        ("Sodium chloride 3 %", 2),
    ]


BOOKED = st.builds(
    Booked,
    place_id=st.one_of(st.none(), st.integers(1, 9).map(lambda n: UUID(int=n))),
    place_kind=st.sampled_from(["trolley", "store", "box"]),
    sort=st.integers(0, 3),
    name=st.sampled_from(["a", "b"]),
    quantity=st.integers(-3, 5),
)


@given(st.lists(BOOKED, max_size=6), st.randoms(use_true_random=False))
def test_a_used_piece_comes_from_where_the_book_has_it_in_whatever_order_it_is_asked(
    levels: list[Booked], order: st.DataObject
) -> None:
    found = taken_from(levels)
    shuffled = list(levels)
    order.shuffle(shuffled)  # type: ignore[attr-defined]
    assert taken_from(shuffled) == found
    full = [level for level in levels if level.place_id and level.quantity > 0]
    if full:
        assert found in {level.place_id for level in full}
        trolleys = {level.place_id for level in full if level.place_kind == "trolley"}
        assert not trolleys or found in trolleys
    elif not [level for level in levels if level.place_id]:
        assert found is None


def test_what_speaks_against_a_lot_comes_most_dangerous_first() -> None:
    day = date(2031, 5, 6)
    free = {"on_hold": False, "alike": False}
    assert doubts_of(today=day, expiry=day, known_expiry=day, lot="A", **free) == ()
    assert doubts_of(today=day, expiry=None, known_expiry=None, lot=None, **free) == (
        Doubt.NO_LOT,
        Doubt.NO_EXPIRY,
    )
    assert doubts_of(
        today=day,
        expiry=date(2031, 5, 5),
        known_expiry=day,
        lot="A",
        on_hold=True,
        alike=True,
    ) == (Doubt.ON_HOLD, Doubt.EXPIRED, Doubt.OTHER_EXPIRY, Doubt.LOT_ALIKE)
