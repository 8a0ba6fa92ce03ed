"""The coming weeks of stock at the unit's own rate of use: a picture, not a promise.

Source: common practice, no source; the model is stated in `ahead`.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from traceability.domain.days import days_later
from traceability.domain.stock import Primes, ShelfLot, full_primes, in_order_of_use, usable

__all__ = ["WeekAhead", "ahead"]


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
        wanted = int(primes_a_week * (week + 1) + 1e-9) - int(primes_a_week * week + 1e-9)
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
