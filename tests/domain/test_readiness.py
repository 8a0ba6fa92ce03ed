"""What stands ready; the counts themselves are among the trade values."""

from datetime import UTC, datetime, timedelta
from random import Random
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from traceability.domain.readiness import (
    SOON,
    Candidate,
    RequiredPlace,
    Why,
    standing,
)
from traceability.domain.retrievals import Mission, check_mission

NOW = datetime(2027, 5, 20, 12, tzinfo=UTC)
PLACES = (
    RequiredPlace(name="mounted", accepts=frozenset({"adult"})),
    RequiredPlace(name="boxed", accepts=frozenset({"adult"}), least_left=timedelta(hours=12)),
)


def candidate(circuit: str = "C-0001", **facts: Any) -> Candidate:
    good: dict[str, Any] = {
        "circuit": circuit,
        "place": "mounted",
        "circuit_type": "adult",
        "signers": ("p1", "p2"),
        "use_by": NOW + timedelta(days=10),
    }
    return Candidate(**(good | facts))


@pytest.mark.parametrize(
    ("facts", "why"),
    [
        ({"signers": ("p1", "p1")}, Why.UNSIGNED),
        ({"on_hold": True}, Why.ON_HOLD),
        ({"use_by": NOW}, Why.PAST_USE_BY),
        ({"use_by": None}, Why.USE_BY_NOT_KNOWN),
        ({"taken": True}, Why.TAKEN),
        ({"discarded": True}, Why.DISCARDED),
        ({"not_fitted": ("Tap before the oxygenator",)}, Why.PART_NOT_FITTED),
        ({"circuit_type": "neonatal"}, Why.WRONG_TYPE),
        ({"circuit_type": None}, Why.WRONG_TYPE),
        ({"place": "boxed", "use_by": NOW + timedelta(hours=11)}, Why.TOO_SHORT),
        ({"place": "bench"}, Why.NO_REQUIRED_PLACE),
        ({"place": None}, Why.NO_REQUIRED_PLACE),
    ],
)
def test_a_circuit_that_fools_the_eye_is_named_with_its_reason(
    facts: dict[str, Any], why: Why
) -> None:
    found = standing([candidate(**facts)], PLACES, NOW)
    assert (found.ready, found.filled, found.target) == (0, 0, 2)
    assert [one.reasons for one in found.not_counted] == [(why,)]


def test_two_ready_at_one_place_do_not_fill_the_other() -> None:
    found = standing([candidate("C-0001"), candidate("C-0002")], PLACES, NOW)
    assert (found.ready, found.filled) == (2, 1)
    assert [place.missing for place in found.places] == [0, 1]


def test_a_circuit_close_to_its_use_by_counts_and_is_flagged() -> None:
    late, soon = candidate("C-0001"), candidate("C-0002", use_by=NOW + SOON)
    found = standing([late, soon], PLACES, NOW)
    assert found.places[0].ready == ("C-0002", "C-0001")
    assert (found.soon, found.next_use_by) == (("C-0002",), NOW + SOON)


@given(
    st.lists(
        st.builds(
            candidate,
            circuit=st.sampled_from([f"C-{n:04}" for n in range(9)]),
            place=st.sampled_from(["mounted", "boxed", "bench", None]),
            on_hold=st.booleans(),
            taken=st.booleans(),
            signers=st.lists(st.sampled_from(["p1", "p2"]), max_size=3).map(tuple),
        ),
        unique_by=lambda one: one.circuit,
    ),
    st.randoms(use_true_random=False),
)
def test_every_circuit_is_counted_once_or_named_once_in_any_order(
    circuits: list[Candidate], random: Random
) -> None:
    found = standing(circuits, PLACES, NOW)
    counted = [circuit for place in found.places for circuit in place.ready]
    named = [one.circuit for one in found.not_counted]
    assert sorted(counted + named) == sorted(one.circuit for one in circuits)
    assert all(one.reasons for one in found.not_counted)
    random.shuffle(circuits)
    assert standing(circuits, PLACES, NOW) == found


def test_a_circuit_in_two_places_is_no_shelf() -> None:
    with pytest.raises(ValueError, match="one place"):
        standing([candidate(), candidate(place="boxed")], PLACES, NOW)


@pytest.mark.parametrize(
    ("hours", "code"),
    [(0, Mission.PAST), (5, Mission.ENDS_WHILE_AWAY), (8, Mission.ENDS_WHILE_AWAY)],
)
def test_a_use_by_up_to_the_return_does_not_outlast_the_mission(hours: int, code: Mission) -> None:
    found = check_mission(
        NOW + timedelta(hours=hours), leaves=NOW, returns=NOW + timedelta(hours=8)
    )
    assert (found.code, found.left_at_return) == (code, timedelta(hours=hours - 8))


def test_a_use_by_nine_hours_after_the_return_outlasts_it() -> None:
    found = check_mission(NOW + timedelta(hours=17), leaves=NOW, returns=NOW + timedelta(hours=8))
    assert (found.code, found.left_at_return) == (Mission.OUTLASTS, timedelta(hours=9))
