"""The stand-by models against an independent library and a simulation."""

import heapq
from datetime import UTC, datetime, timedelta
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import geom, poisson

from traceability.domain.standby import (
    Team,
    at_least,
    chance_none_ready,
    largest_demand,
    load,
    no_demand,
    smallest_number,
    time_at_each_count,
)

LOADS = st.floats(0.001, 5)


@given(st.integers(0, 12), LOADS)
def test_side_by_side_is_a_poisson_number_cut_off_at_n(n: int, a: float) -> None:
    """Erlang's loss: pmf(n) / cdf(n) of a Poisson number, by scipy."""
    assert chance_none_ready(n, a) == pytest.approx(poisson.pmf(n, a) / poisson.cdf(n, a), rel=1e-9)


@given(st.integers(0, 12), st.floats(0.01, 0.95))
def test_one_team_is_a_geometric_number_cut_off_at_n(n: int, a: float) -> None:
    """M/M/1 with room for n: pmf / cdf of a geometric number, by scipy."""
    found = chance_none_ready(n, a, Team.ONE_AFTER_ANOTHER)
    assert found == pytest.approx(geom.pmf(n + 1, 1 - a) / geom.cdf(n + 1, 1 - a), rel=1e-9)


def test_one_team_at_its_limit_spends_equal_time_in_every_state() -> None:
    assert chance_none_ready(3, 1.0, Team.ONE_AFTER_ANOTHER) == pytest.approx(1 / 4)


@given(st.integers(-2, 25), st.floats(0, 20))
def test_so_many_calls_or_more_agrees_with_scipy(calls: int, mean: float) -> None:
    assert at_least(calls, mean) == pytest.approx(float(poisson.sf(calls - 1, mean)), rel=1e-8)


@given(st.integers(1, 8), LOADS, st.sampled_from(Team))
def test_one_more_circuit_never_raises_the_chance(n: int, a: float, team: Team) -> None:
    assert chance_none_ready(n, a, team) < chance_none_ready(n - 1, a, team) <= 1


@given(st.integers(1, 4), st.floats(1, 200), st.floats(1e-5, 0.5), st.sampled_from(Team))
def test_the_largest_demand_stands_right_at_the_risk(
    n: int, hours: float, risk: float, team: Team
) -> None:
    most = largest_demand(n, hours, risk, team)
    assert chance_none_ready(n, load(most, hours), team) == pytest.approx(risk, rel=1e-6)


def test_a_team_with_more_work_than_it_can_do_never_gets_there() -> None:
    assert smallest_number(1.5, 0.01, Team.ONE_AFTER_ANOTHER) is None
    assert smallest_number(1.5, 0.01) is not None


def simulated(n: int, per_week: float, hours: float, team: Team, calls: int, seed: int) -> float:
    """Share of calls that found none of n ready, call by call."""
    chance = Random(seed)  # noqa: S311 - a simulation that must repeat
    now, busy_until, lost = 0.0, 0.0, 0
    away: list[float] = []
    for _ in range(calls):
        now += chance.expovariate(per_week / 168)
        while away and away[0] <= now:
            heapq.heappop(away)
        if len(away) == n:
            lost += 1
            continue
        if team is Team.SIDE_BY_SIDE:
            back = now + chance.uniform(0, 2 * hours)
        else:
            back = busy_until = max(now, busy_until) + chance.expovariate(1 / hours)
        heapq.heappush(away, back)
    return lost / calls


@pytest.mark.parametrize("team", Team)
@pytest.mark.parametrize(("n", "per_week", "hours"), [(1, 1, 24), (2, 3, 24), (2, 1, 72)])
def test_a_simulation_of_many_calls_comes_out_near_the_formula(
    n: int, per_week: float, hours: float, team: Team
) -> None:
    """Uniform re-prime times side by side, exponential for one team; four standard errors."""
    calls = 60_000
    found = simulated(n, per_week, hours, team, calls, seed=20271)
    expected = chance_none_ready(n, load(per_week, hours), team)
    # Lost calls come in runs, so the plain binomial error is doubled.
    assert found == pytest.approx(expected, abs=4 * 2 * (expected / calls) ** 0.5)


def test_a_month_without_a_call_is_the_zero_of_poisson() -> None:
    assert no_demand(0.5, 30) == pytest.approx(float(poisson.pmf(0, 0.5 * 30 / 7)))


def test_the_log_says_how_long_so_many_stood_ready() -> None:
    start = datetime(2027, 3, 1, tzinfo=UTC)
    changes = [(start + timedelta(hours=h), n) for h, n in [(20, 2), (-5, 2), (10, 1), (30, 0)]]
    found = time_at_each_count(changes, since=start, until=start + timedelta(hours=36))
    assert found == {n: timedelta(hours=h) for n, h in [(0, 6), (1, 10), (2, 20)]}
