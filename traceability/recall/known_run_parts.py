"""What lay in a patient or served one without being in a circuit: run parts and machines.

Each stands under a name of the run's own, beside its circuits: a cannula survives a change of
circuit, and a heater-cooler concerns the air of the room it stood in.
"""

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from typing import Any, Final
from uuid import UUID

from sqlalchemy import ColumnElement, Row, TextClause, select
from sqlalchemy.orm import Session

from traceability.domain.at_the_run import RUN_PART_KINDS
from traceability.domain.shelves.facts import PartIn
from traceability.domain.spans import Span
from traceability.recall.asked import ANY_KIND, Compiled
from traceability.recall.cut import Cut
from traceability.recall.gathering import Gathered, Seen, other_items, run_name
from traceability.recall.lots_in_scope import Wanted
from traceability.recall.record import blocks, may_be_of
from traceability.storage.base import believed_at
from traceability.storage.items import Lot
from traceability.storage.run_extras import HAS_LOT, HAS_NO_LOT, IS_DISPUTED, RunPart
from traceability.storage.runs import CircuitOnRun

__all__ = ["gather_run_parts", "support_ended"]

_COLUMNS: Final[tuple[Any, ...]] = (
    RunPart.site_id,
    RunPart.run_id,
    RunPart.part_id,
    RunPart.kind,
    RunPart.state,
    RunPart.known,
    RunPart.product_id,
    RunPart.lot_id,
    RunPart.serial,
    RunPart.body_site,
    RunPart.valid_from,
    RunPart.valid_to,
    RunPart.disputed,
    RunPart.recorded_no,
    RunPart.line,
    Lot.text,
)


def gather_run_parts(
    session: Session, asked: Compiled, wanted: Wanted, gathered: Gathered, cut: Cut
) -> None:
    """Add the run parts that may be asked for."""
    found: dict[tuple[UUID, int, int], Row[Any]] = {}
    for row in _rows(session, asked, wanted, cut):
        found.setdefault((row.site_id, row.recorded_no, row.line), row)
    ends = support_ended(session, {row.run_id for row in found.values()}, cut)
    kind_of = {product.id: product.kind or ANY_KIND for product in asked.products}
    for key, row in found.items():
        nobodys = row.product_id is None or row.product_id in asked.makerless
        maker = None if nobodys else str(row.product_id)
        use = {
            "part": PartIn(
                p=str(row.part_id),
                item=kind_of.get(row.product_id, row.kind),
                maker=maker,
                lot=row.text,
                serial=row.serial,
            ),
            "circuit": run_name(row.run_id),
            "start": row.valid_from,
            "end": row.valid_to,
            "disputed": row.disputed,
            "certain": certain_until(row.valid_from, row.valid_to, ends.get(row.run_id)),
        }
        number = gathered.add((*key, "run part"), use, _seen(row))
        if nobodys:
            gathered.may_be(number, other_items(row.kind, asked.items))


def certain_until(
    start: datetime, end: datetime | None, over: datetime | None
) -> tuple[Span, ...] | None:
    """Return when something was certainly there of which nobody recorded that it went.

    Certain while support went on, possible ever since; None: all of its time is certain.
    """
    if end is not None or over is None:
        return None
    return (Span(start=start, end=over),) if start < over else ()


def _seen(row: Row[Any]) -> Seen:
    return Seen(
        part_id=row.part_id,
        circuit_id=None,
        run_id=row.run_id,
        slot="",
        ordinal=1,
        kind=row.kind,
        product_id=row.product_id,
        lot=row.text,
        serial=row.serial,
        known=row.known,
        state=row.state,
        start=row.valid_from,
        end=row.valid_to,
        recorded_no=row.recorded_no,
        place=row.body_site,
    )


def _rows(session: Session, asked: Compiled, wanted: Wanted, cut: Cut) -> Iterator[Row[Any]]:
    for column, ids, also in (
        (RunPart.lot_id, wanted.lots, [HAS_LOT]),
        (RunPart.unit_id, wanted.units, []),
    ):
        for block in blocks(ids):
            yield from _some(session, cut, column.in_(block), *also)
    kinds = sorted(may_be_of(asked.kinds or RUN_PART_KINDS))
    of_kind = RunPart.kind.in_(kinds)
    products = [*(product.id for product in asked.products), *asked.makerless]
    any_kind = RunPart.kind.in_(sorted({*kinds, *RUN_PART_KINDS}))
    yield from _some(session, cut, HAS_NO_LOT, any_kind, RunPart.product_id.in_(products))
    yield from _some(session, cut, HAS_NO_LOT, of_kind, RunPart.product_id.is_(None))
    yield from _some(session, cut, IS_DISPUTED, of_kind)


def _some(
    session: Session, cut: Cut, *where: ColumnElement[bool] | TextClause
) -> Sequence[Row[Any]]:
    rows = (
        select(*_COLUMNS)
        .outerjoin(Lot, (Lot.site_id == RunPart.site_id) & (Lot.id == RunPart.lot_id))
        .where(*where, believed_at(RunPart, cut.number))
    )
    return session.execute(rows).all()


def support_ended(session: Session, run_ids: Iterable[UUID], cut: Cut) -> dict[UUID, datetime]:
    """Return when the last circuit of each run came off, for runs with none on."""
    found: dict[UUID, list[datetime | None]] = {}
    for block in blocks(sorted(run_ids)):
        rows = select(CircuitOnRun.run_id, CircuitOnRun.valid_to).where(
            CircuitOnRun.site_id.in_(cut.sites),
            CircuitOnRun.run_id.in_(block),
            believed_at(CircuitOnRun, cut.number),
        )
        for row in session.execute(rows):
            found.setdefault(row.run_id, []).append(row.valid_to)
    return {
        run_id: max(end for end in ends if end is not None)
        for run_id, ends in found.items()
        if all(end is not None for end in ends)
    }
