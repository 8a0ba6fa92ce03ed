"""The coming weeks of stock at the unit's own rate of use: a picture, not a promise.

Source: common practice, no source; the model is stated in `ahead`.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from traceability.domain.days import days_later
from traceability.domain.stock import Primes, ShelfLot, full_primes, in_order_of_use, usable

__all__ = ["Rate", "WeekAhead", "ahead", "lacking_ahead", "rate_of"]


@dataclass(frozen=True, slots=True, kw_only=True)
class WeekAhead:
    """The shelf at the start of one coming week, after the primes before it."""

    starts: datetime
    """Aware UTC."""
    possible: Primes
    """Primes still possible then, for a circuit that would be stored its full time."""
    expiring: Mapping[str, int]
    """Units by product that pass their date in this week without having been used."""
    wanted: int
    """Primes of this week at the rate given."""
    made: int
    """Primes of this week that the stock allowed."""


def ahead(
    lots: Iterable[ShelfLot],
    per_prime: Mapping[str, int],
    *,
    primes_a_week: float,
    stored_days: int,
    start: datetime,
    zone: ZoneInfo,
    weeks: int = 8,
) -> tuple[WeekAhead, ...]:
    """Return the coming weeks, nothing being delivered.

    The model: primes come evenly (whole primes by the running sum of `primes_a_week`), each is
    made at the start of its week, takes first expiry first among lots that outlive a stay of
    `stored_days`, and is skipped where a product is lacking. Holds are taken to stay.

    Raises:
        ValueError: a rate below zero, or what `full_primes` refuses.
    """
    if primes_a_week < 0:
        msg = "a rate of primes is never below zero"
        raise ValueError(msg)
    shelf = list(lots)
    answer: list[WeekAhead] = []
    for week in range(weeks):
        at = days_later(start, 7 * week, zone)
        use_by = days_later(at, stored_days, zone)
        possible = full_primes(usable(shelf, at=at, zone=zone, planned_use_by=use_by), per_prime)
        wanted = _wanted(primes_a_week, week)
        made = min(wanted, possible.count)
        for product, need in per_prime.items():
            shelf = _taken(shelf, product, need * made, at=at, zone=zone, use_by=use_by)
        answer.append(
            WeekAhead(
                starts=at,
                possible=possible,
                expiring=_expiring(shelf, per_prime, at=at, zone=zone),
                wanted=wanted,
                made=made,
            )
        )
    return tuple(answer)


def lacking_ahead(
    lots: Iterable[ShelfLot],
    per_prime: Mapping[str, int],
    *,
    primes_a_week: float,
    stored_days: int,
    start: datetime,
    zone: ZoneInfo,
    weeks: int = 8,
) -> dict[str, int]:
    """Return the units by product that are missing so that no prime of the coming weeks is skipped.

    The model is that of `ahead`. What expires before its turn is missing too. Units that were used
    and never booked in (a level below zero) are taken off first: they are not there.
    """
    shelf = list(lots)
    lacking = dict.fromkeys(per_prime, 0)
    owed = {
        product: -sum(min(lot.quantity, 0) for lot in shelf if lot.product == product)
        for product in per_prime
    }
    for week in range(weeks):
        at = days_later(start, 7 * week, zone)
        use_by = days_later(at, stored_days, zone)
        for product, need in per_prime.items():
            units = need * _wanted(primes_a_week, week) + (0 if week else owed[product])
            before = _units(shelf, product)
            shelf = _taken(shelf, product, units, at=at, zone=zone, use_by=use_by)
            lacking[product] += units - (before - _units(shelf, product))
    return {product: units for product, units in sorted(lacking.items()) if units > 0}


def _wanted(primes_a_week: float, week: int) -> int:
    """Return the whole primes of one week, by the running sum of the rate."""
    return int(primes_a_week * (week + 1) + 1e-9) - int(primes_a_week * week + 1e-9)


def _units(shelf: Iterable[ShelfLot], product: str) -> int:
    return sum(lot.quantity for lot in shelf if lot.product == product)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rate:
    """The unit's own use, and what it was reckoned from."""

    primes: int
    """Primes begun in the days looked at."""
    days: int
    """Days looked at."""

    @property
    def a_week(self) -> float:
        """Primes a week."""
        return 7 * self.primes / self.days


LOOK_BACK: Final = 84
"""Days of the unit's own past that its rate is reckoned from: twelve weeks. Own choice, no source.
"""


def rate_of(primes: int, first_days_ago: float) -> Rate:
    """Return the rate from the primes begun in the last `LOOK_BACK` days.

    A unit that began later is judged by the days since its first prime, a week at least.
    """
    if primes < 0 or first_days_ago < 0:
        msg = "a number of primes or days is never below zero"
        raise ValueError(msg)
    return Rate(primes=primes, days=min(max(round(first_days_ago), 7), LOOK_BACK))


def _taken(
    shelf: list[ShelfLot],
    product: str,
    units: int,
    *,
    at: datetime,
    zone: ZoneInfo,
    use_by: datetime,
) -> list[ShelfLot]:
    """Return the shelf after `units` of a product were taken in order of use."""
    mine = [lot for lot in shelf if lot.product == product]
    others = [lot for lot in shelf if lot.product != product]
    for lot in in_order_of_use(mine, at=at, zone=zone, planned_use_by=use_by):
        taken = min(lot.quantity, units)
        units -= taken
        mine[mine.index(lot)] = replace(lot, quantity=lot.quantity - taken)
    return others + mine


def _expiring(
    shelf: Iterable[ShelfLot], per_prime: Mapping[str, int], *, at: datetime, zone: ZoneInfo
) -> dict[str, int]:
    """Return the units by product that are inside their date at `at` and past it a week on."""
    shelf = [lot for lot in shelf if lot.product in per_prime and lot.quantity > 0]
    now = usable(shelf, at=at, zone=zone)
    then = usable(shelf, at=at + timedelta(days=7), zone=zone)
    gone = {product: now[product] - then[product] for product in sorted(now)}
    return {product: units for product, units in gone.items() if units}
