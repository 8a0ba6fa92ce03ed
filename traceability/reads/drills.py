"""The service's drill: lots picked at random and followed, what was found, what is to be mended."""

import json
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final
from uuid import UUID

from sqlalchemy import Select, func, select
from sqlalchemy.orm import Session

from traceability.domain.drills.choose import choose
from traceability.domain.drills.facts import LotRecord
from traceability.domain.drills.outcome import Drawn, LotOutcome
from traceability.domain.drills.reconcile import Code, Point, Whereabouts, reconcile, split
from traceability.reads.lot_record import lot_record
from traceability.storage.circuits import Part
from traceability.storage.drills import LotDrill, LotDrilled
from traceability.storage.items import Lot, Product
from traceability.storage.ledger import LedgerEvent, LedgerHead
from traceability.storage.run_extras import RunPart
from traceability.storage.stock import StockReceipt

DAYS_A_MONTH: Final = 365.25 / 12
MOST_SHOWN: Final = 60
"""Drills in the history and the trend: more than a year of weeks."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Drill:
    """One drill of the service, in sums."""

    number: int
    at: datetime
    week: date
    by_hand: bool
    seed: str
    since_no: int
    cut_no: int
    wanted: int
    candidates: int
    definition: int
    lots: int
    whole_lots: int
    """Of them: followed from receipt to end."""
    units: int
    reconciled: int
    use_units: int
    """Followed from use to end only, and not among `units`: ward stock, and what was used before
    the stock book of its product began."""
    use_reconciled: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Drilled:
    """What a drill found of one lot, as known then."""

    product_id: UUID
    product: str
    lot: str
    whole: bool
    units: int
    reconciled: int
    where: Mapping[Whereabouts, int]
    points: Mapping[Code, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class ToMend:
    """An open point as it stands now."""

    product_id: UUID
    product: str
    lot: str
    point: Point


def draw(
    session: Session, site_id: UUID, *, seed: str, wanted: int, months: int, now: datetime
) -> Drawn:
    """Pick lots and follow each of them, as the record stands now."""
    head = session.get_one(LedgerHead, site_id)
    since = now - timedelta(days=months * DAYS_A_MONTH)
    since_no = _first_no(session, site_id, since, head.number)
    recent, chosen = pick(session, site_id, seed, wanted, since_no, head.number)
    outcomes = [
        _outcome(part, now)
        for lot_id in chosen
        if (record := lot_record(session, site_id, lot_id)) is not None
        for part in split(record)
    ]
    return Drawn(
        seed=seed,
        since_no=since_no,
        cut_no=head.number,
        wanted=wanted,
        candidates=recent,
        lots=tuple(outcomes),
    )


def _outcome(part: LotRecord, now: datetime) -> LotOutcome:
    found = reconcile(part, now)
    points: Counter[str] = Counter()
    for point in found.points:
        points[point.code] += point.units
    return LotOutcome(
        product_id=part.product_id,
        lot_id=part.lot_id,
        whole=found.whole,
        units=found.units,
        reconciled=found.reconciled,
        where={str(each): units for each, units in found.where.items() if units},
        points=dict(points),
    )


def pick(
    session: Session, site_id: UUID, seed: str, wanted: int, since_no: int, cut_no: int
) -> tuple[int, list[UUID]]:
    """Return how many lots had entries of late, and the lots that the seed picks.

    With the seed and the two numbers of a drill on record this gives its very choice again, at any
    time: rows are only ever added.
    """
    recent: set[UUID] = set()
    for table in (Part, RunPart, StockReceipt):
        rows = (
            select(table.lot_id)
            .where(
                table.site_id == site_id,
                table.recorded_no >= since_no,
                table.recorded_no <= cut_no,
                table.lot_id.is_not(None),
            )
            .distinct()
        )
        recent |= {lot_id for lot_id in session.scalars(rows) if lot_id is not None}
    older: Sequence[UUID] = ()
    if len(recent) < wanted:
        lots = select(Lot.id).where(Lot.site_id == site_id, Lot.first_no <= cut_no)
        older = session.scalars(lots).all()
    return len(recent), choose(seed, recent, older, wanted)


def any_lot(
    session: Session, site_id: UUID, *, seed: str, months: int, now: datetime
) -> UUID | None:
    """Return a lot that a seed picks, one with entries of late first; None: none is known."""
    head = session.get_one(LedgerHead, site_id)
    since = now - timedelta(days=months * DAYS_A_MONTH)
    since_no = _first_no(session, site_id, since, head.number)
    _, chosen = pick(session, site_id, seed, 1, since_no, head.number)
    return chosen[0] if chosen else None


def _first_no(session: Session, site_id: UUID, since: datetime, last_no: int) -> int:
    """Return the first entry recorded at or after a moment; behind the last one if there is none.

    Where the clock was set back, an entry may be recorded earlier than its number says: then one
    or the other lot more counts as of late.
    """
    rows = (
        select(LedgerEvent.number)
        .where(LedgerEvent.site_id == site_id, LedgerEvent.recorded_at >= since)
        .order_by(LedgerEvent.recorded_at, LedgerEvent.number)
        .limit(1)
    )
    return session.scalar(rows) or last_no + 1


def drill_of_week(session: Session, site_id: UUID, week: date) -> int | None:
    """Return the number of the service's own drill of a week; None: there is none yet."""
    rows = select(LotDrill.recorded_no).where(
        LotDrill.site_id == site_id, LotDrill.week == week, ~LotDrill.by_hand
    )
    return session.scalar(rows)


def drills(session: Session, site_id: UUID, limit: int = MOST_SHOWN) -> list[Drill]:
    """Return the drills of the service, newest first."""
    rows = session.scalars(
        select(LotDrill)
        .where(LotDrill.site_id == site_id)
        .order_by(LotDrill.recorded_no.desc())
        .limit(limit)
    ).all()
    sums = _sums(session, site_id, [row.recorded_no for row in rows])
    counts = _counts(session, site_id, [row.recorded_no for row in rows])
    return [_drill(row, sums, counts) for row in rows]


def _sums(
    session: Session, site_id: UUID, numbers: Sequence[int]
) -> dict[tuple[int, bool], tuple[int, int, int]]:
    rows = (
        select(
            LotDrilled.recorded_no,
            LotDrilled.whole,
            func.count(),
            func.sum(LotDrilled.units),
            func.sum(LotDrilled.reconciled),
        )
        .where(LotDrilled.site_id == site_id, LotDrilled.recorded_no.in_(numbers))
        .group_by(LotDrilled.recorded_no, LotDrilled.whole)
    )
    return {
        (number, whole): (lots, int(units), int(reconciled))
        for number, whole, lots, units, reconciled in session.execute(rows)
    }


def _counts(session: Session, site_id: UUID, numbers: Sequence[int]) -> dict[int, int]:
    rows = (
        select(LotDrilled.recorded_no, func.count(LotDrilled.lot_id.distinct()))
        .where(LotDrilled.site_id == site_id, LotDrilled.recorded_no.in_(numbers))
        .group_by(LotDrilled.recorded_no)
    )
    return dict(session.execute(rows).all())


def _drill(
    row: LotDrill,
    sums: Mapping[tuple[int, bool], tuple[int, int, int]],
    lots: Mapping[int, int],
) -> Drill:
    whole = sums.get((row.recorded_no, True), (0, 0, 0))
    apart = sums.get((row.recorded_no, False), (0, 0, 0))
    return Drill(
        number=row.recorded_no,
        at=row.at,
        week=row.week,
        by_hand=row.by_hand,
        seed=row.seed,
        since_no=row.since_no,
        cut_no=row.cut_no,
        wanted=row.wanted,
        candidates=row.candidates,
        definition=row.definition,
        lots=lots.get(row.recorded_no, 0),
        whole_lots=whole[0],
        units=whole[1],
        reconciled=whole[2],
        use_units=apart[1],
        use_reconciled=apart[2],
    )


def drilled(session: Session, site_id: UUID, number: int) -> list[Drilled]:
    """Return what a drill found, lot by lot, as known then."""
    return [
        Drilled(
            product_id=row.product_id,
            product=product,
            lot=lot,
            whole=row.whole,
            units=row.units,
            reconciled=row.reconciled,
            where={Whereabouts(k): v for k, v in json.loads(row.whereabouts).items()},
            points={Code(k): v for k, v in json.loads(row.points).items()},
        )
        for row, lot, product in session.execute(_lots_of(site_id, number))
    ]


def to_mend(session: Session, site_id: UUID, number: int, now: datetime) -> list[ToMend]:
    """Return what is open about a drill's lots now: what was mended since is no longer there."""
    lots = select(LotDrilled.lot_id).where(
        LotDrilled.site_id == site_id, LotDrilled.recorded_no == number
    )
    records = [
        lot_record(session, site_id, lot_id)
        for lot_id in dict.fromkeys(session.scalars(lots).all())
    ]
    return [
        ToMend(product_id=part.product_id, product=part.product, lot=part.text, point=point)
        for record in records
        if record is not None
        for part in split(record)
        for point in reconcile(part, now).points
    ]


def _lots_of(site_id: UUID, number: int) -> Select[LotDrilled, str, str]:
    return (
        select(LotDrilled, Lot.text, Product.name)
        .join(Lot, (Lot.site_id == LotDrilled.site_id) & (Lot.id == LotDrilled.lot_id))
        .join(
            Product,
            (Product.site_id == LotDrilled.site_id) & (Product.id == LotDrilled.product_id),
        )
        .where(LotDrilled.site_id == site_id, LotDrilled.recorded_no == number)
        .order_by(LotDrilled.line)
    )
