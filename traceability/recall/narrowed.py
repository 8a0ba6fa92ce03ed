"""Parts without a lot that a complete stock book leaves out of question, before they are read.

Of one product there may be tens of thousands. Only those matter that share a block of time with a
lot asked for (see `domain.shelves.blocks`); all others took units of other lots. Where a kind has
several products, or pieces that lie in patients, blocks are not told apart and nothing is left out.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.domain.at_the_run import RUN_PART_KINDS
from traceability.domain.free_units import Free
from traceability.domain.parts import Known, PartState
from traceability.domain.shelves.blocks import in_question
from traceability.recall.asked import Compiled
from traceability.recall.cut import Cut
from traceability.recall.known_book import Books
from traceability.recall.lots_in_scope import Wanted
from traceability.recall.record import still_then
from traceability.storage.circuits import LOT_UNKNOWN, Part

__all__ = ["Narrowed", "narrowed"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Narrowed:
    """What is left to read."""

    rows: Mapping[str, list[int]] = field(default_factory=dict)
    """Numbers of the entries of parts without a lot, by kind; kinds that are not here are read
    whole."""


def narrowed(
    session: Session, asked: Compiled, wanted: Wanted, held: Books, cut: Cut
) -> tuple[Narrowed, Books]:
    """Return which parts without a lot are to be read, and the books without what is out."""
    rows: dict[str, list[int]] = {}
    free = dict(held.free)
    lots = set(wanted.lots)
    for kind in sorted(held.free):
        if not _can_be_told_apart(kind, asked, wanted, held):
            continue
        lines = [(key, at, units) for key, lot in free[kind].items() for at, units in lot.batches]
        first = min((at for _, at, _ in lines), default=None)
        always, parts = _without_lot(session, kind, first, cut)
        found = in_question(
            [(at, units, key[1] in lots) for key, at, units in lines],
            [at for at, _ in parts],
        )
        if found.short:
            continue
        rows[kind] = sorted({*always, *(parts[n][1] for n in found.wants)})
        free[kind] = _only(free[kind], {(lines[n][0], lines[n][1]) for n in found.lines})
    return Narrowed(rows=rows), held.with_free(free)


def _can_be_told_apart(kind: str, asked: Compiled, wanted: Wanted, held: Books) -> bool:
    """Tell whether any free unit of a kind may serve any part of it, and lots alone decide."""
    clauses = [each for each in asked.clauses if kind in each.clause.items]
    return (
        kind not in RUN_PART_KINDS
        and len(held.products_of.get(kind, ())) == 1
        and not held.items[kind].open_books
        and not held.items[kind].book_fails
        and bool(clauses)
        and all(
            each.clause.items == (kind,)
            and each.product is not None
            and each.product.id not in wanted.by_serial
            for each in clauses
        )
    )


def _without_lot(
    session: Session, kind: str, first: datetime | None, cut: Cut
) -> tuple[list[int], list[tuple[datetime, int]]]:
    """Return parts that no book narrows, then those that took a unit, with when they went in."""
    always: list[int] = []
    parts: list[tuple[datetime, int]] = []
    rows = select(Part.recorded_no, Part.valid_from, Part.known, Part.disputed, Part.state).where(
        LOT_UNKNOWN, Part.kind == kind, still_then(Part.superseded_no, Part.recorded_no, cut)
    )
    for row in session.connection().execute(rows):
        took_none = row.disputed or row.known == Known.STATED or row.state == PartState.INSIDE_PACK
        if took_none or first is None or row.valid_from < first:
            always.append(row.recorded_no)
        else:
            parts.append((row.valid_from, row.recorded_no))
    return always, parts


def _only(
    lots: Mapping[tuple[UUID, UUID], Free], kept: set[tuple[tuple[UUID, UUID], datetime]]
) -> dict[tuple[UUID, UUID], Free]:
    left = {
        key: Free(batches=tuple(each for each in lot.batches if (key, each[0]) in kept))
        for key, lot in lots.items()
    }
    return {key: lot for key, lot in left.items() if lot.batches}
