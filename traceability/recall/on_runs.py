"""What met a patient without being in a circuit: run parts, and machines.

A cannula lies in the patient, so its own times decide, whichever circuit was on. A machine served a
run, or a circuit and through it the runs that the circuit was on meanwhile. Both are judged by the
same rules as parts, and stand in the answer under a head of their own.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.domain.exposure import Exposure, Shelf
from traceability.recall.cut import Cut
from traceability.recall.exposure import blocks
from traceability.recall.machines_seen import judged_machines
from traceability.recall.pieces import PieceSeen
from traceability.recall.question import Question
from traceability.recall.run_parts_seen import judged_run_parts
from traceability.recall.sort_shelves import stretch
from traceability.storage.base import believed_at
from traceability.storage.runs import CircuitOnRun


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceRow:
    """One run part or machine on a shelf of the answer."""

    piece: PieceSeen
    shelf: Shelf
    reasons: tuple[str, ...]
    exposure: Exposure


def piece_rows(
    session: Session, question: Question, kinds: frozenset[str], cut: Cut
) -> tuple[PieceRow, ...]:
    """Return every run part and machine that is asked for or may be, confirmed ones first.

    `kinds` are those looked at for gaps; none means any.
    """
    judged: dict[tuple[int, int, UUID | None], tuple[PieceSeen, frozenset[str]]] = {}
    for piece, reasons in (
        *judged_run_parts(session, question, kinds, cut),
        *judged_machines(session, question, kinds, cut),
    ):
        open_by = reasons | ({"claim_disputed"} if piece.disputed else frozenset())
        judged.setdefault((piece.recorded_no, piece.line, piece.run_id), (piece, open_by))
    ends = _support_ended(session, {piece.run_id for piece, _ in judged.values()}, cut)
    rows = [_row(piece, reasons, ends) for piece, reasons in judged.values()]
    return tuple(sorted(rows, key=_order))


def _order(row: PieceRow) -> tuple[bool, float, int, int]:
    piece = row.piece
    sure = row.shelf is Shelf.CONFIRMED
    return (not sure, -piece.start.timestamp(), piece.recorded_no, piece.line)


def _row(piece: PieceSeen, reasons: frozenset[str], ends: dict[UUID, datetime]) -> PieceRow:
    met = Exposure(possible=stretch(piece.start, piece.end) if piece.run_id else ())
    over = ends.get(piece.run_id) if piece.run_id else None
    if not reasons and piece.run_id is not None:
        # Nobody recorded that it came out: certain while the run went on, possible ever since.
        sure = met.possible if piece.end or over is None else stretch(piece.start, over)
        met = Exposure(sure=sure, possible=met.possible)
    if not reasons and (met.sure or piece.run_id is None):
        return PieceRow(piece=piece, shelf=Shelf.CONFIRMED, reasons=(), exposure=met)
    return PieceRow(
        piece=piece,
        shelf=Shelf.CANNOT_BE_EXCLUDED,
        reasons=tuple(sorted(reasons or {"time_not_known"})),
        exposure=met,
    )


def _support_ended(
    session: Session, run_ids: Iterable[UUID | None], cut: Cut
) -> dict[UUID, datetime]:
    """Return when the last circuit of each run came off, for runs with none on."""
    found: dict[UUID, list[datetime | None]] = {}
    for block in blocks(sorted(each for each in run_ids if each is not None)):
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
        if None not in ends
    }
