"""How many circuits should stand ready: the unit's own log, then a model that says what it assumes.

Two models, each with demand that comes by chance at an even rate (Poisson):
*side by side* - every used circuit is re-primed at once; Erlang's loss formula, true for any
re-prime time with this mean; *one team* - one team primes one after another, its time being
exponential (queue M/M/1 with room for n). In real life calls come in clusters, so each number is a
floor: the true chance is higher. Source: Erlang's loss formula and the M/M/1/K queue, standard
queueing theory, from memory; checked in the tests against scipy and a simulation.
"""

from collections.abc import Iterable
from datetime import datetime, timedelta
from enum import StrEnum
from math import exp, expm1
from typing import Final

__all__ = [
    "ASSUMPTIONS",
    "HOURS_A_WEEK",
    "Team",
    "at_least",
    "chance_none_ready",
    "largest_demand",
    "load",
    "no_demand",
    "smallest_number",
    "time_at_each_count",
]

HOURS_A_WEEK: Final = 168
_MOST_CIRCUITS: Final = 1000


class Team(StrEnum):
    """How used circuits are replaced."""

    SIDE_BY_SIDE = "side-by-side"
    ONE_AFTER_ANOTHER = "one-after-another"


ASSUMPTIONS: Final = ("calls-independent", "even-rate", "floor-because-calls-cluster")
"""Codes of what must be said beside every number of this module; worded elsewhere."""


def load(demand_per_week: float, reprime_hours: float) -> float:
    """Return a = rate x time: how many circuits are being replaced on average.

    Raises ValueError below zero.
    """
    if demand_per_week < 0 or reprime_hours < 0:
        msg = "a rate and a time are never below zero"
        raise ValueError(msg)
    return demand_per_week * reprime_hours / HOURS_A_WEEK


def chance_none_ready(n: int, a: float, team: Team = Team.SIDE_BY_SIDE) -> float:
    """Return the chance that a call finds none of `n` circuits ready, at load `a`.

    Side by side: (a^n/n!) / sum(a^k/k!, k = 0..n), by Erlang's recursion, which neither
    overflows nor cancels. One team: a^n / sum(a^k, k = 0..n).

    Raises:
        ValueError: n or a below zero, or n above a thousand.
    """
    if not 0 <= n <= _MOST_CIRCUITS or a < 0:
        msg = f"between 0 and {_MOST_CIRCUITS} circuits and a load of at least 0 are needed"
        raise ValueError(msg)
    chance = 1.0
    for k in range(1, n + 1):
        # Both chains: B(k) = r B(k-1) / (1 + r B(k-1)), with r = a/k for k teams, a for one.
        grown = chance * (a / k if team is Team.SIDE_BY_SIDE else a)
        chance = grown / (1 + grown)
    return chance


def at_least(calls: int, mean: float) -> float:
    """Return the chance of so many calls or more where `mean` are expected (Poisson).

    Raises ValueError for a mean below zero.
    """
    if mean < 0:
        msg = "a mean number of calls is never below zero"
        raise ValueError(msg)
    if calls <= 0:
        return 1.0
    if calls == 1:
        return -expm1(-mean)
    # Summed from the far side while that is small, so that nothing cancels.
    term = exp(-mean)
    below = 0.0
    for k in range(calls):
        below += term
        term *= mean / (k + 1)
    if mean > calls:
        return max(1.0 - below, 0.0)
    total, k = 0.0, calls
    while term > total * 1e-17 and term > 0:
        total += term
        k += 1
        term *= mean / k
    return total


def no_demand(demand_per_week: float, days: float) -> float:
    """Return the chance that nobody calls for so many days: the circuit will be discarded."""
    return exp(-load(demand_per_week, days * 24))


def smallest_number(a: float, risk: float, team: Team = Team.SIDE_BY_SIDE) -> int | None:
    """Return the fewest circuits that keep the chance under `risk`; None where none do.

    One team that gets more work than it can do never gets there. Raises ValueError for a risk
    that is not between 0 and 1.
    """
    if not 0 < risk < 1:
        msg = "a risk lies between 0 and 1"
        raise ValueError(msg)
    found = (n for n in range(_MOST_CIRCUITS + 1) if chance_none_ready(n, a, team) < risk)
    return next(found, None)


def largest_demand(
    n: int, reprime_hours: float, risk: float, team: Team = Team.SIDE_BY_SIDE
) -> float:
    """Return the most calls a week for which `n` circuits keep the chance at or under `risk`.

    Raises:
        ValueError: no circuit, no re-prime time, or a risk that is not between 0 and 1.
    """
    if n < 1 or reprime_hours <= 0 or not 0 < risk < 1:
        msg = "at least one circuit, a re-prime time and a risk between 0 and 1 are needed"
        raise ValueError(msg)
    low, high = 0.0, 1.0
    while chance_none_ready(n, high, team) <= risk:
        low, high = high, high * 2
    for _ in range(200):
        middle = (low + high) / 2
        if chance_none_ready(n, middle, team) <= risk:
            low = middle
        else:
            high = middle
    return low * HOURS_A_WEEK / reprime_hours


def time_at_each_count(
    changes: Iterable[tuple[datetime, int]], *, since: datetime, until: datetime
) -> dict[int, timedelta]:
    """Return how long so many circuits stood ready, from the unit's own log.

    Args:
        changes: moment and ready count from then on, in any order; of two at one moment the one
            given last counts. Time before the first is not known and not counted.
        since: start of the time looked at, aware.
        until: its end.
    """
    steps = sorted(changes, key=lambda change: change[0])
    spent: dict[int, timedelta] = {}
    for (at, count), following in zip(steps, [*(s[0] for s in steps[1:]), until], strict=True):
        length = min(following, until) - max(at, since)
        if length > timedelta(0):
            spent[count] = spent.get(count, timedelta(0)) + length
    return dict(sorted(spent.items()))
