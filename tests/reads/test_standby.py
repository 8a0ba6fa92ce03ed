"""What the unit's own log says about standing by, from acts that were really recorded."""

from datetime import timedelta
from uuid import UUID

import pytest

from tests.actions.test_shelf import looks, wants
from tests.make import HOUR, NOON, Ward
from traceability.actions.circuit.keep import MoveCircuit, move_circuit
from traceability.actions.run.come_back import TakeBack, take_back
from traceability.reads.standby import StandbyLog, standby_log

DAY = 24 * HOUR
PRIMING = timedelta(seconds=16)
"""Eight scans of the ward, two seconds each; both sign at once."""


def log(ward: Ward, back: timedelta = 30 * DAY) -> StandbyLog:
    with ward.reads() as session:
        return standby_log(session, ward.site.id, ward.now - back, ward.now)


def boxed(ward: Ward, circuit: UUID) -> None:
    asked = MoveCircuit(
        sent=ward.sent(), circuit_id=circuit, place_id=ward.places["box 3"], at=ward.now
    )
    move_circuit(asked, site=ward.site)


def exactly(ward: Ward, at: timedelta) -> None:
    ward.now = NOON + at


@pytest.fixture
def story(ward: Ward) -> Ward:
    """One at hour 10, two from hour 20, one taken at 50, replaced at 74; the box runs out."""
    exactly(ward, 10 * HOUR - PRIMING)
    first = ward.prime()
    exactly(ward, 20 * HOUR - PRIMING)
    second = ward.prime()
    boxed(ward, second)
    exactly(ward, 50 * HOUR)
    ward.take(first)
    exactly(ward, 74 * HOUR - PRIMING)
    ward.prime()
    exactly(ward, 100 * HOUR)
    return ward


def hours(found: StandbyLog) -> dict[int, float]:
    return {n: round(time / HOUR, 2) for n, time in found.at_count.items()}


def test_the_log_knows_how_long_so_many_stood_ready(story: Ward) -> None:
    found = log(story, 90 * HOUR)
    # 10 to 20 one, 20 to 50 two, 50 to 74 one, 74 to 100 two.
    assert hours(found) == {1: 34.0, 2: 56.0}
    assert sum(found.at_count.values(), timedelta(0)) == found.until - found.since


def test_before_the_record_began_nothing_is_known(story: Ward) -> None:
    found = log(story, 3650 * DAY)
    assert found.since == NOON - DAY  # the store was set up then
    assert hours(found) == {0: 34.0, 1: 34.0, 2: 56.0}


def test_a_gap_lasts_from_the_take_until_another_stands_ready(story: Ward) -> None:
    found = log(story)
    (gap,) = found.gaps
    assert gap == pytest.approx(24 * HOUR, abs=timedelta(minutes=1))
    assert (found.calls, found.open_gaps) == (1, 0)
    assert found.mean_reprime == gap
    assert found.demand_per_week == pytest.approx(168 / 124)


def test_a_gap_that_goes_on_is_told_apart(story: Ward) -> None:
    circuit = story.prime()
    looks(story, circuit, "seal")  # a third one that does not count takes nothing away
    story.now += 40 * DAY  # all past their use-by
    found = log(story, 60 * DAY)
    assert (len(found.gaps), found.open_gaps) == (1, 2)


def test_a_wrong_scan_is_no_call(story: Ward) -> None:
    circuit = story.prime()
    story.take(circuit)
    take_back(TakeBack(sent=story.sent(), circuit_id=circuit, at=story.now), site=story.site)
    assert log(story).calls == 1


def test_a_circuit_from_elsewhere_is_no_call_for_one_of_ours(story: Ward) -> None:
    story.take(story.foreign())
    assert log(story).calls == 1


def test_discards_without_use_are_counted_by_reason(story: Ward) -> None:
    for reason in ("seal-broken", "seal-broken", "past-use-by"):
        story.discard(story.prime(), reason)
    used = story.prime()
    story.take(used)
    story.discard(used, "opened")
    story.discard(story.begin(), "prime-stopped")  # was never primed
    found = log(story)
    assert found.unused == {"past-use-by": 1, "seal-broken": 2}
    assert found.primed == 7


def test_what_the_places_want_decides_what_is_enough(story: Ward) -> None:
    wants(story, "console 3", wanted=2)
    found = log(story, 90 * HOUR)
    assert found.target == 3
    assert hours(found) == {1: 34.0, 2: 56.0}
    assert found.gaps == ()
