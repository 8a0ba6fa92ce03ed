"""How much of the record stands behind an answer; every answer carries it, a negative one too.

Taken from kept counters: no row of a part is counted.
"""

from collections.abc import Collection
from uuid import UUID

from sqlalchemy import ColumnElement, Select, TextClause, distinct, func, select
from sqlalchemy.orm import Session

from traceability.domain.parts import PartState
from traceability.recall.answered import Coverage
from traceability.recall.asked import Compiled
from traceability.recall.cut import Cut
from traceability.recall.record import blocks, circuits_begun, still_then, unknown_contents
from traceability.storage.circuits import LOT_UNKNOWN, Circuit, Part
from traceability.storage.part_counts import BLOCK, PartCount
from traceability.storage.run_extras import RunPart
from traceability.storage.runs import Run

__all__ = ["counted_parts", "coverage_of", "parts_on_record"]


def coverage_of(session: Session, asked: Compiled, gaps: Collection[UUID], cut: Cut) -> Coverage:
    """Return the coverage of a scope; `gaps` are circuits in which the rules found one."""
    circuits = circuits_begun(session, cut)
    unknown = set(unknown_contents(session, cut))
    others = set(gaps) - unknown
    with_gap, parts, with_lot = len(others), 0, 0
    if asked.asks_for_parts:
        with_gap = _with_gap(session, asked, others, unknown, cut)
        parts, with_lot = parts_on_record(session, asked.kinds, cut)
    runs = select(func.count()).select_from(Run)
    first = (
        select(Circuit.begun_at)
        .where(Circuit.site_id.in_(cut.sites), Circuit.begun_no <= cut.number)
        .order_by(Circuit.begun_no)
        .limit(1)
    )
    return Coverage(
        circuits=circuits,
        complete=circuits - with_gap - len(unknown),
        with_gap=with_gap,
        unknown=len(unknown),
        runs=session.scalar(runs.where(Run.site_id.in_(cut.sites), Run.begun_no <= cut.number))
        or 0,
        parts=parts,
        parts_with_lot=with_lot,
        first_at=session.scalar(first),
    )


def _with_gap(
    session: Session, asked: Compiled, others: set[UUID], unknown: set[UUID], cut: Cut
) -> int:
    """Return how many circuits have a gap: a part of the kinds without its lot, of any product.

    Counted through the index, since they may be many; `others` have a gap of another sort, and
    those in `unknown` are counted elsewhere.
    """
    conditions: list[ColumnElement[bool] | TextClause] = [
        LOT_UNKNOWN,
        Part.state != PartState.TICKED,
        still_then(Part.superseded_no, Part.recorded_no, cut),
    ]
    if asked.kinds:
        conditions.append(Part.kind.in_(sorted(asked.kinds)))
    rows: Select[int] = select(func.count(distinct(Part.circuit_id))).where(*conditions)
    twice = _among(session, conditions, others | unknown)
    total = session.scalar(rows) or 0
    return total + len(others - twice) - len(unknown & twice)


def _among(
    session: Session, conditions: list[ColumnElement[bool] | TextClause], ids: set[UUID]
) -> set[UUID]:
    found: set[UUID] = set()
    for block in blocks(sorted(ids)):
        # The circuit chooses the index: those asked about are few.
        rows = select(Part.circuit_id).where(Part.circuit_id.in_(block), *conditions)
        found |= set(session.scalars(rows))
    return found


def parts_on_record(session: Session, kinds: Collection[str], cut: Cut) -> tuple[int, int]:
    """Return how many parts of these kinds the record holds, and how many with their lot.

    No kinds: all.
    """
    parts, with_lot, _ = counted_parts(session, cut, kinds=kinds)
    return parts, with_lot


def counted_parts(
    session: Session, cut: Cut, *, kinds: Collection[str] = (), product_id: UUID | None = None
) -> tuple[int, int, int]:
    """Return the parts on record, those with their lot and those with their serial.

    Whole blocks of ledger numbers are added up; the last, begun one is counted.
    """
    sums = select(
        func.coalesce(func.sum(PartCount.parts), 0),
        func.coalesce(func.sum(PartCount.with_lot), 0),
        func.coalesce(func.sum(PartCount.with_serial), 0),
    ).where(PartCount.site_id.in_(cut.sites))
    if kinds:
        sums = sums.where(PartCount.kind.in_(sorted(kinds)))
    if product_id is not None:
        sums = sums.where(PartCount.product_id == product_id)
    if cut.latest:
        parts, with_lot, with_serial = session.execute(sums).one()
        return int(parts), int(with_lot), int(with_serial)
    last = cut.number // BLOCK
    parts, with_lot, with_serial = session.execute(sums.where(PartCount.block < last)).one()
    total = [int(parts), int(with_lot), int(with_serial)]
    for table in (Part, RunPart):
        rows = _counted(table, kinds, product_id)
        written = rows.where(table.site_id.in_(cut.sites))
        # Without the site, which all rows have: SQLite would read them all, one by one.
        for some, number, sign in (
            (written, table.recorded_no, 1),
            (rows, table.superseded_no, -1),
        ):
            block = some.where(number >= last * BLOCK, number <= cut.number)
            for place, count in enumerate(session.execute(block).one()):
                total[place] += sign * count
    return total[0], total[1], total[2]


def _counted(
    table: type[Part] | type[RunPart],
    kinds: Collection[str],
    product_id: UUID | None,
) -> Select[int, int, int]:
    rows = select(func.count(), func.count(table.lot_id), func.count(table.serial)).where(
        table.state != PartState.NOT_FITTED
    )
    if kinds:
        rows = rows.where(table.kind.in_(sorted(kinds)))
    return rows if product_id is None else rows.where(table.product_id == product_id)
