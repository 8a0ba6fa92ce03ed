"""Stock first: what of a notice is on the shelves, and what would be left if it were held."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from traceability.domain.exposure import Shelf
from traceability.domain.known_rows import KnownRow, Subject, key_of
from traceability.domain.stock import Fitness
from traceability.reads.can_prime import can_prime_from
from traceability.reads.shelf import shelf
from traceability.reads.stock import LevelFacts, ProductStock, stock

HELD: Final = "notice"
"""Stands for the reason of a hold that is not there yet."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Leaves:
    """What holding would leave."""

    ready: int
    """Ready circuits now; holding stock takes none of them."""
    ready_without: int
    """Ready circuits if those that the notice names were held too."""
    target: int
    primes: tuple[tuple[str, int | None, int | None], ...]
    """Circuit type, primes that the shelves allow now, and with the stock held; None: no number."""


def stock_rows(rows: Sequence[KnownRow]) -> list[KnownRow]:
    """Return the rows of an answer that are in stock and not excluded."""
    return [
        row
        for row in rows
        if key_of(row.key).subject is Subject.STOCK and row.shelf is not Shelf.EXCLUDED
    ]


def leaves(
    session: Session,
    site_id: UUID,
    rows: Sequence[KnownRow],
    named_circuits: frozenset[str],
    now: datetime,
    zone: ZoneInfo,
) -> Leaves:
    """Return what would be left; nothing is held by asking."""
    standing = shelf(session, site_id, now)
    without = sum(
        min(
            sum(one.circuit.number not in named_circuits for one in place.ready),
            place.place.wanted,
        )
        for place in standing.required
    )
    products = stock(session, site_id, now, zone)
    lots = {key_of(row.key).ids[:2] for row in stock_rows(rows)}
    after = [_held(product, lots) for product in products]
    before_primes, after_primes = (
        {
            each.circuit_type: each.primes.count if each.primes else None
            for each in can_prime_from(session, site_id, given, now, zone)
        }
        for given in (products, after)
    )
    return Leaves(
        ready=standing.ready,
        ready_without=without,
        target=standing.target,
        primes=tuple(
            (circuit_type, number, after_primes.get(circuit_type))
            for circuit_type, number in before_primes.items()
        ),
    )


def _held(product: ProductStock, lots: set[tuple[UUID | None, ...]]) -> ProductStock:
    """Return the product as if these lots were on hold; a piece without a lot holds all of it."""
    if (product.id, None) in lots:
        return replace(
            product, hold=HELD, levels=tuple(_on_hold(level) for level in product.levels)
        )
    return replace(
        product,
        levels=tuple(
            _on_hold(level) if (product.id, level.lot_id) in lots else level
            for level in product.levels
        ),
    )


def _on_hold(level: LevelFacts) -> LevelFacts:
    return replace(level, hold=level.hold or HELD, fitness=Fitness.ON_HOLD)
