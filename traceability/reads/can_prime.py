"""Can we prime? How many more circuits of each type the shelves allow, and what limits them."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from traceability.domain.circuits import Origin
from traceability.domain.days import days_later
from traceability.domain.sheets import Sheet
from traceability.domain.stock import (
    Fitness,
    Primes,
    fitness,
    full_primes,
    in_order_of_use,
    usable,
)
from traceability.domain.stock_ahead import (
    LOOK_BACK,
    Rate,
    WeekAhead,
    ahead,
    lacking_ahead,
    rate_of,
)
from traceability.domain.stock_needs import Fit, PrimeNeed, fits, needs_of
from traceability.domain.use_by import Way
from traceability.reads.lists import sheets
from traceability.reads.stock import LevelFacts, ProductStock, stock
from traceability.storage.circuits import Circuit
from traceability.storage.policies import newest_policy


@dataclass(frozen=True, slots=True, kw_only=True)
class NeedFacts:
    """One thing that a prime takes, and what the shelves have of it."""

    key: str
    kind: str
    name: str
    """The product's name, or the fluid in full."""
    products: tuple[UUID, ...]
    per_prime: int
    usable: int
    """Units that outlive the planned use-by; what is owed is taken off."""
    primes: int
    """Primes that they are enough for."""
    limits: bool
    too_short: int
    """Units inside their date that expire before the planned use-by of a stored circuit."""
    expired: int
    on_hold: int
    owed: int
    """Units that were used and never booked in: a count to be made."""
    picks: tuple[LevelFacts, ...]
    """What to take for the next prime, first expiry first."""
    to_order: int
    """Units missing for the coming weeks at the unit's own use."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CanPrime:
    """One circuit type."""

    circuit_type: str
    primes: Primes | None
    """None: nothing that it takes is in the book, so that no number would be true."""
    needs: tuple[NeedFacts, ...]
    """What is counted, in the order of the sheet."""
    not_counted: tuple[str, ...]
    """What it takes too and is ward stock here."""
    not_in_book: tuple[str, ...]
    """What it takes too, is counted here, and was never received or counted."""
    not_known: tuple[str, ...]
    """Kinds for which the list of products has nothing."""
    stored_days: int
    """How long a stored circuit may stand, by the unit's policy."""
    planned_use_by: datetime
    rate: Rate | None
    weeks: tuple[WeekAhead, ...]
    """Empty where nothing was reckoned ahead; products are keys of `needs`."""


def can_prime(
    session: Session, site_id: UUID, now: datetime, zone: ZoneInfo, *, weeks: int = 0
) -> list[CanPrime]:
    """Return the answer for every circuit type; with `weeks` also what the coming ones bring."""
    return can_prime_from(
        session, site_id, stock(session, site_id, now, zone), now, zone, weeks=weeks
    )


def can_prime_from(
    session: Session,
    site_id: UUID,
    products: Sequence[ProductStock],
    now: datetime,
    zone: ZoneInfo,
    *,
    weeks: int = 0,
) -> list[CanPrime]:
    """Return the same from products that were read already."""
    _, limits = newest_policy(session, site_id)
    answers = []
    for sheet in sheets(session, site_id):
        days = limits.days(Way(sheet.way))
        rate = _rate(session, site_id, sheet.circuit_type, now) if weeks else None
        answers.append(_answer(sheet, products, days, now, zone, rate, weeks))
    return answers


def _rate(session: Session, site_id: UUID, circuit_type: str, now: datetime) -> Rate:
    """Return the unit's own use: primes begun here, whatever became of them."""
    since = now - timedelta(days=LOOK_BACK)
    mine = (
        Circuit.site_id == site_id,
        Circuit.circuit_type == circuit_type,
        Circuit.origin == Origin.OWN,
    )
    looked_at = select(func.count(), func.min(Circuit.begun_at)).where(
        *mine, Circuit.begun_at >= since
    )
    count, first = session.execute(looked_at).one()
    earlier = select(Circuit.id).where(*mine, Circuit.begun_at < since).limit(1)
    if first is None or session.scalar(earlier) is not None:
        return rate_of(count, LOOK_BACK)
    return rate_of(count, max((now - first) / timedelta(days=1), 0))


def _answer(
    sheet: Sheet,
    products: Sequence[ProductStock],
    days: int,
    now: datetime,
    zone: ZoneInfo,
    rate: Rate | None,
    weeks: int,
) -> CanPrime:
    planned = days_later(now, days, zone)
    found = {
        need.key: [each for each in products if fits(need, _fit(each))] for need in needs_of(sheet)
    }
    in_book = [need for need in needs_of(sheet) if any(each.in_book for each in found[need.key])]
    rest = [need for need in needs_of(sheet) if need not in in_book]
    lots = [
        replace(level.shelf_lot, product=need.key)
        for need in in_book
        for each in found[need.key]
        for level in each.levels
    ]
    per_prime = {need.key: need.count for need in in_book}
    left = usable(lots, at=now, zone=zone, planned_use_by=planned)
    primes = full_primes(left, per_prime) if per_prime else None
    coming: tuple[WeekAhead, ...] = ()
    lacking: dict[str, int] = {}
    if rate is not None and per_prime:
        coming = ahead(
            lots,
            per_prime,
            primes_a_week=rate.a_week,
            stored_days=days,
            start=now,
            zone=zone,
            weeks=weeks,
        )
        lacking = lacking_ahead(
            lots,
            per_prime,
            primes_a_week=rate.a_week,
            stored_days=days,
            start=now,
            zone=zone,
            weeks=weeks,
        )
    return CanPrime(
        circuit_type=sheet.circuit_type,
        primes=primes,
        needs=tuple(
            _need(
                need,
                found[need.key],
                left.get(need.key, 0),
                limits=primes is not None and need.key in primes.limiting,
                to_order=lacking.get(need.key, 0),
                now=now,
                zone=zone,
                planned=planned,
            )
            for need in in_book
        ),
        not_counted=tuple(
            _name(need, found[need.key])
            for need in rest
            if found[need.key] and not any(each.counted for each in found[need.key])
        ),
        not_in_book=tuple(
            _name(need, found[need.key])
            for need in rest
            if any(each.counted for each in found[need.key])
        ),
        not_known=tuple(_name(need, []) for need in rest if not found[need.key]),
        stored_days=days,
        planned_use_by=planned,
        rate=rate,
        weeks=coming,
    )


def _fit(product: ProductStock) -> Fit:
    return Fit(
        kind=product.kind,
        substance=product.substance,
        volume_ml=product.volume_ml,
        circuit_type=product.circuit_type,
    )


def _name(need: PrimeNeed, products: Sequence[ProductStock]) -> str:
    if need.substance:
        litres = f", {need.volume_ml / 1000:g} L" if need.volume_ml else ""
        return f"{need.substance}{litres}"
    names = sorted({each.name for each in products if each.in_book or not each.counted})
    return " or ".join(names or sorted({each.name for each in products})) or need.kind


def _need(
    need: PrimeNeed,
    products: Sequence[ProductStock],
    left: int,
    *,
    limits: bool,
    to_order: int,
    now: datetime,
    zone: ZoneInfo,
    planned: datetime,
) -> NeedFacts:
    levels = [level for each in products for level in each.levels]
    by_lot = {level.shelf_lot: level for level in levels}
    order = in_order_of_use(by_lot, at=now, zone=zone, planned_use_by=planned)
    counts = dict.fromkeys(Fitness, 0)
    for level in levels:
        fit = fitness(level.shelf_lot, at=now, zone=zone, planned_use_by=planned)
        counts[fit] += max(level.quantity, 0)
    return NeedFacts(
        key=need.key,
        kind=need.kind,
        name=_name(need, products),
        products=tuple(each.id for each in products if each.in_book),
        per_prime=need.count,
        usable=left,
        primes=max(left, 0) // need.count,
        limits=limits,
        too_short=counts[Fitness.TOO_SHORT],
        expired=counts[Fitness.EXPIRED],
        on_hold=counts[Fitness.ON_HOLD],
        owed=-sum(min(level.quantity, 0) for level in levels),
        picks=_picks([by_lot[lot] for lot in order], need.count),
        to_order=to_order,
    )


def _picks(order: Sequence[LevelFacts], count: int) -> tuple[LevelFacts, ...]:
    """Return the first lots that together are enough for one prime."""
    found: list[LevelFacts] = []
    for level in order:
        if count <= 0:
            break
        found.append(level)
        count -= level.quantity
    return tuple(found)
