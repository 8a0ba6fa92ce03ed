"""What the shelves allow: how many primes, which product limits, which lot to take next.

Only counted products enter (ward stock such as saline is usually not counted here, and says
nothing). A count below zero is a count to be made, never a reason to stop a prime.
Source: counts per prime and first-expiry-first are common practice, no source.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from zoneinfo import ZoneInfo

from traceability.domain.days import end_of_day

__all__ = [
    "Fitness",
    "Primes",
    "ShelfLot",
    "fitness",
    "full_primes",
    "in_order_of_use",
    "part_bag_left",
    "to_order",
    "usable",
    "used_by_prime",
]


class Fitness(StrEnum):
    """What a lot on the shelf is good for at one moment."""

    USABLE = "usable"
    TOO_SHORT = "too-short"
    """Inside its date, but it expires before the planned use-by of a stored circuit."""
    EXPIRED = "expired"
    ON_HOLD = "on-hold"


@dataclass(frozen=True, slots=True, kw_only=True)
class ShelfLot:
    """Units of one lot in one place, as counted by the book."""

    product: str
    lot: str | None
    """None: not recorded."""
    quantity: int
    """Units of use; below zero where more was used than was booked in."""
    expiry: date | None
    """Last day of use; None: not known or none printed."""
    place: str = ""
    on_hold: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Primes:
    """How many complete primes the stock allows."""

    count: int
    limiting: tuple[str, ...]
    """Products that stop one more prime, in order of name."""


def fitness(
    lot: ShelfLot, *, at: datetime, zone: ZoneInfo, planned_use_by: datetime | None = None
) -> Fitness:
    """Return what a lot is good for at `at` (aware).

    A lot without an expiry never expires by date; whether it needs one is its product's affair.
    """
    if lot.on_hold:
        return Fitness.ON_HOLD
    if lot.expiry is None:
        return Fitness.USABLE
    past = end_of_day(lot.expiry, zone)
    if past <= at:
        return Fitness.EXPIRED
    if planned_use_by is not None and past < planned_use_by:
        return Fitness.TOO_SHORT
    return Fitness.USABLE


def usable(
    lots: Iterable[ShelfLot],
    *,
    at: datetime,
    zone: ZoneInfo,
    planned_use_by: datetime | None = None,
) -> dict[str, int]:
    """Return usable units by product; a product with nothing usable is there with 0 or less.

    A lot that stands below zero takes from its product: the units it lacks were used.
    """
    counts: dict[str, int] = {}
    for lot in lots:
        fit = fitness(lot, at=at, zone=zone, planned_use_by=planned_use_by)
        counted = lot.quantity if fit is Fitness.USABLE else min(lot.quantity, 0)
        counts[lot.product] = counts.get(lot.product, 0) + counted
    return counts


def full_primes(stock: Mapping[str, int], per_prime: Mapping[str, int]) -> Primes:
    """Return the complete primes that usable stock allows, and what limits them.

    Args:
        stock: usable units by product; a product that is missing counts as none.
        per_prime: units that one prime needs, counted products only; needs of 0 do not limit.

    Raises:
        ValueError: no product is needed, so that no number would be true, or a need below zero.
    """
    needs = {product: need for product, need in per_prime.items() if need != 0}
    if not needs or min(needs.values()) < 0:
        msg = "a prime needs at least one counted product, and never less than none of it"
        raise ValueError(msg)
    each = {product: max(stock.get(product, 0), 0) // need for product, need in needs.items()}
    count = min(each.values())
    return Primes(count=count, limiting=tuple(sorted(p for p, n in each.items() if n == count)))


def in_order_of_use(
    lots: Iterable[ShelfLot], *, at: datetime, zone: ZoneInfo, planned_use_by: datetime | None
) -> tuple[ShelfLot, ...]:
    """Return the lots to take from, first expiry first, among those that outlive the use-by.

    Expired, held and too short lots are not among them, nor is anything with nothing left.
    Lots without an expiry come last. Ties go by lot text and place, never by chance.
    """
    good = [
        lot
        for lot in lots
        if lot.quantity > 0
        and fitness(lot, at=at, zone=zone, planned_use_by=planned_use_by) is Fitness.USABLE
    ]
    return tuple(sorted(good, key=lambda o: (o.expiry or date.max, o.lot or "", o.place)))


def to_order(stock: Mapping[str, int], per_prime: Mapping[str, int], primes: int) -> dict[str, int]:
    """Return the units by product that are missing for so many primes; nothing where enough."""
    lacking = {p: need * primes - stock.get(p, 0) for p, need in per_prime.items()}
    return {product: units for product, units in sorted(lacking.items()) if units > 0}


def used_by_prime(fitted: int, dropped: int) -> int:
    """Return the units one prime takes from the shelf: what is in the circuit and what fell."""
    if fitted < 0 or dropped < 0:
        msg = "counts of parts are never below zero"
        raise ValueError(msg)
    return fitted + dropped


def part_bag_left(left_ml: float) -> bool:
    """Return whether an opened bag's rest may be kept for the next prime: never by default."""
    if left_ml < 0:
        msg = "a bag holds no less than nothing"
        raise ValueError(msg)
    return False
