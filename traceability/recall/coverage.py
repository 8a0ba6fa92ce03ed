"""How much of the record stands behind an answer; every answer carries it, a negative one too.

Taken from kept counters: no row of a part is counted.
"""

from collections.abc import Collection
from uuid import UUID

from sqlalchemy import ColumnElement, Select, and_, func, select
from sqlalchemy.orm import Session

from traceability.domain.parts import PartState
from traceability.recall.answered import Coverage
from traceability.recall.asked import Compiled
from traceability.recall.cut import Cut
from traceability.recall.record import circuits_begun, not_superseded, unknown_contents
from traceability.storage.circuits import LOT_UNKNOWN, Circuit, Part
from traceability.storage.part_counts import BLOCK, PartCount
from traceability.storage.run_extras import RunPart
from traceability.storage.runs import Run

__all__ = ["coverage_of", "parts_on_record"]


def coverage_of(session: Session, asked: Compiled, gaps: Collection[UUID], cut: Cut) -> Coverage:
    """Return the coverage of a scope; `gaps` are circuits in which the rules found one."""
    circuits = circuits_begun(session, cut)
    unknown = set(unknown_contents(session, cut))
    with_gap = (set(gaps) | _with_gap(session, asked, cut)) - unknown
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
        complete=circuits - len(with_gap) - len(unknown),
        with_gap=len(with_gap),
        unknown=len(unknown),
        runs=session.scalar(runs.where(Run.site_id.in_(cut.sites), Run.begun_no <= cut.number))
        or 0,
        parts=parts,
        parts_with_lot=with_lot,
        first_at=session.scalar(first),
    )


def _with_gap(session: Session, asked: Compiled, cut: Cut) -> set[UUID]:
    """Return circuits with a part of the kinds whose lot is not known, of whatever product."""
    found: set[UUID] = set()
    for still in not_superseded(Part.superseded_no, cut):
        rows = select(Part.circuit_id).where(
            LOT_UNKNOWN,
            Part.state != PartState.TICKED,
            Part.recorded_no + 0 <= cut.number,
            still,
        )
        if asked.kinds:
            rows = rows.where(Part.kind.in_(sorted(asked.kinds)))
        found |= set(session.scalars(rows))
    return found


def parts_on_record(session: Session, kinds: Collection[str], cut: Cut) -> tuple[int, int]:
    """Return how many parts of these kinds the record holds, and how many with their lot.

    No kinds: all. Whole blocks of ledger numbers are added up; the last, begun one is counted.
    """
    last = cut.number // BLOCK
    sums = select(
        func.coalesce(func.sum(PartCount.parts), 0),
        func.coalesce(func.sum(PartCount.with_lot), 0),
    ).where(PartCount.site_id.in_(cut.sites))
    sums = sums.where(PartCount.kind.in_(sorted(kinds))) if kinds else sums
    if cut.latest:
        parts, with_lot = session.execute(sums).one()
        return int(parts), int(with_lot)
    parts, with_lot = session.execute(sums.where(PartCount.block < last)).one()
    total, total_with = int(parts), int(with_lot)
    for table in (Part, RunPart):
        for number, sign in ((table.recorded_no, 1), (table.superseded_no, -1)):
            counted = _counted(table, kinds, cut).where(
                number >= last * BLOCK, number <= cut.number
            )
            more, more_with = session.execute(counted).one()
            total, total_with = total + sign * more, total_with + sign * more_with
    return total, total_with


def _counted(
    table: type[Part] | type[RunPart], kinds: Collection[str], cut: Cut
) -> Select[int, int]:
    here: ColumnElement[bool] = and_(
        table.site_id.in_(cut.sites), table.state != PartState.NOT_FITTED
    )
    rows = select(func.count(), func.count(table.lot_id)).where(here)
    return rows.where(table.kind.in_(sorted(kinds))) if kinds else rows
