"""Run parts that are asked for or may be, as of a ledger number, each through its own index."""

from collections.abc import Iterator
from typing import Any, Final
from uuid import UUID

from sqlalchemy import ColumnElement, Select, TextClause, select
from sqlalchemy.orm import InstrumentedAttribute, Session

from traceability.domain.at_the_run import RUN_PART_KINDS
from traceability.domain.parts import PartState
from traceability.recall.cut import Cut
from traceability.recall.exposure import blocks, lots_alike, may_be_of
from traceability.recall.judge_parts import gap_reasons, unit_reasons
from traceability.recall.pieces import Judged, PieceSeen
from traceability.recall.question import Question
from traceability.storage.base import believed_at
from traceability.storage.items import Lot
from traceability.storage.run_extras import HAS_LOT, HAS_NO_LOT, IS_DISPUTED, RunPart
from traceability.storage.runs import Run

_PART: Final[tuple[Any, ...]] = (
    RunPart.run_id,
    Run.number,
    RunPart.kind,
    RunPart.state,
    RunPart.known,
    RunPart.product_id,
    RunPart.lot_id,
    Lot.text,
    RunPart.serial,
    RunPart.body_site,
    RunPart.valid_from,
    RunPart.valid_to,
    RunPart.disputed,
    RunPart.recorded_no,
    RunPart.line,
)


def judged_run_parts(
    session: Session, question: Question, kinds: frozenset[str], cut: Cut
) -> Iterator[Judged]:
    """Yield the run parts that are asked for, then those that may be, each with what is open."""
    yield from _held(session, question, cut)
    for piece in _of(session, cut, RunPart.lot_id, lots_alike(session, question, cut), HAS_LOT):
        yield piece, frozenset({"lot_text_alike"})
    if question.units:
        yield from _like_units(session, question, cut)
    yield from _gaps(session, question, kinds, cut)


def _held(session: Session, question: Question, cut: Cut) -> Iterator[Judged]:
    lots = [lot.id for lot in question.lots]
    lots += _lots_of(session, [product.id for product in question.whole], cut)
    units = [unit.id for unit in question.units]
    for piece in (
        *_of(session, cut, RunPart.lot_id, lots, HAS_LOT),
        *_of(session, cut, RunPart.unit_id, units),
    ):
        yield piece, frozenset()


def _like_units(session: Session, question: Question, cut: Cut) -> Iterator[Judged]:
    lots = _lots_of(session, [unit.product.id for unit in question.units], cut)
    for piece in _of(session, cut, RunPart.lot_id, lots, HAS_LOT):
        if doubts := unit_reasons(piece, question):
            yield piece, frozenset(doubts)


def _gaps(
    session: Session, question: Question, kinds: frozenset[str], cut: Cut
) -> Iterator[Judged]:
    of_kind = may_be_of(kinds or RUN_PART_KINDS)
    any_kind = RunPart.kind.in_(sorted(of_kind | set(RUN_PART_KINDS)))
    products = [product.id for product in question.products]
    for piece in _of(session, cut, RunPart.product_id, products, HAS_NO_LOT, any_kind):
        if (gaps := gap_reasons(piece, question)) is not None:
            yield piece, frozenset(gaps)
    in_kinds = RunPart.kind.in_(sorted(of_kind))
    for piece in _seen(session, cut, HAS_NO_LOT, in_kinds, RunPart.product_id.is_(None)):
        yield piece, frozenset(gap_reasons(piece, question) or ())
    for piece in _seen(session, cut, IS_DISPUTED, in_kinds):
        yield piece, frozenset({"claim_disputed"})


def _lots_of(session: Session, product_ids: list[UUID], cut: Cut) -> list[UUID]:
    if not product_ids:
        return []
    rows = select(Lot.id).where(Lot.site_id.in_(cut.sites), Lot.product_id.in_(product_ids))
    return list(session.scalars(rows))


def _of(
    session: Session,
    cut: Cut,
    column: InstrumentedAttribute[Any],
    ids: list[UUID],
    *also: ColumnElement[bool] | TextClause,
) -> Iterator[PieceSeen]:
    for block in blocks(ids):
        yield from _seen(session, cut, column.in_(block), *also)


def _seen(
    session: Session, cut: Cut, *where: ColumnElement[bool] | TextClause
) -> Iterator[PieceSeen]:
    rows: Select[Any] = (
        select(*_PART)
        .join(Run, (Run.site_id == RunPart.site_id) & (Run.id == RunPart.run_id))
        .outerjoin(Lot, (Lot.site_id == RunPart.site_id) & (Lot.id == RunPart.lot_id))
        .where(*where, believed_at(RunPart, cut.number))
    )
    for row in session.execute(rows):
        yield PieceSeen(
            run_id=row.run_id,
            run=row.number,
            circuit="",
            machine=False,
            kind=row.kind,
            state=PartState(row.state),
            known=row.known,
            product_id=row.product_id,
            lot_id=row.lot_id,
            lot=row.text,
            serial=row.serial,
            body_site=row.body_site,
            start=row.valid_from,
            end=row.valid_to,
            disputed=row.disputed,
            recorded_no=row.recorded_no,
            line=row.line,
        )
