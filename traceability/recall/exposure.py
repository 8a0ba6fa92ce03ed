"""The parts that decide an answer, as of a ledger number, each through an index of its own.

The cost grows with the answer, not with the store: parts by lot, by gaps of the kind asked for, by
look-alike lots, disputed ones, circuits whose contents are not recorded and primes that have not
ended. Everything else is excluded and is only counted.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final, TypeVar
from uuid import UUID

from sqlalchemy import ColumnElement, Row, Select, func, select
from sqlalchemy.orm import InstrumentedAttribute, Session

from traceability.domain.at_the_run import ADDITIVE_KIND
from traceability.domain.parts import UNKNOWN_KIND, PartState
from traceability.domain.scopes import loose_key
from traceability.domain.trolley import FLUID_KIND
from traceability.recall.cut import Cut
from traceability.recall.question import Question
from traceability.storage.base import believed_at
from traceability.storage.circuits import (
    DISPUTED,
    LOT_UNKNOWN,
    NEVER_WAS_ROW,
    Circuit,
    CircuitPhase,
    Part,
)
from traceability.storage.items import Lot
from traceability.storage.moves import listed_whole
from traceability.storage.runs import CircuitOnRun

BLOCK: Final = 500
"""Ids asked for at once: SQLite takes a limited number of values in one statement."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PartSeen:
    """A part of the kind asked for, in one circuit for some time."""

    circuit_id: UUID
    slot: str
    ordinal: int
    kind: str
    state: PartState
    known: str
    product_id: UUID | None
    lot_id: UUID | None
    lot: str | None
    serial: str | None
    start: datetime
    end: datetime | None
    leaves: bool
    stays: bool
    disputed: bool
    recorded_no: int
    """With the circuit's site and `line` the key of the row."""
    line: int


def parts_of_lots(session: Session, lot_ids: Sequence[UUID], cut: Cut) -> list[PartSeen]:
    """Return every part of these lots, in whatever circuit and however long."""
    return [
        part
        for block in blocks(lot_ids)
        for part in _seen(session, _with_lot(cut).where(Part.lot_id.in_(block)))
    ]


def parts_of_units(session: Session, unit_ids: Sequence[UUID], cut: Cut) -> list[PartSeen]:
    """Return where these very pieces, known by their serials, are or were."""
    return [
        part
        for block in blocks(unit_ids)
        for part in _seen(session, _with_lot(cut).where(Part.unit_id.in_(block)))
    ]


def parts_of_products(session: Session, product_ids: Sequence[UUID], cut: Cut) -> list[PartSeen]:
    """Return every part of the products whose lot is recorded."""
    if not product_ids:
        return []
    lots = select(Lot.id).where(Lot.site_id.in_(cut.sites), Lot.product_id.in_(product_ids))
    return parts_of_lots(session, list(session.scalars(lots)), cut)


def parts_with_gaps(
    session: Session, product_ids: Sequence[UUID], kinds: Iterable[str], cut: Cut
) -> list[PartSeen]:
    """Return parts that may be what is asked for, because their lot is not known.

    Those of the products, whatever kind they were put in as; and those of the kinds whose product
    is not known either. No kinds: the kind asked for is not known, so any may be it.
    """
    in_store = kinds_with_gaps(session)
    wanted = sorted(may_be_of(kinds) & set(in_store)) if set(kinds) else in_store
    found: list[PartSeen] = []
    for still in not_superseded(Part.superseded_no, cut):
        gaps = select(*_COLUMNS).where(LOT_UNKNOWN, Part.recorded_no + 0 <= cut.number, still)
        if wanted:
            found += _seen(session, gaps.where(Part.kind.in_(wanted), Part.product_id.is_(None)))
        for block in blocks(list(product_ids)):
            if in_store:
                of_product = gaps.where(Part.kind.in_(in_store), Part.product_id.in_(block))
                found += _seen(session, of_product)
    return found


def may_be_of(kinds: Iterable[str]) -> set[str]:
    """Return the kinds under which a part of these kinds may have been recorded without its code.

    What nobody could name may be anything; a fluid may have been given as an additive.
    """
    asked = set(kinds)
    return asked | {UNKNOWN_KIND} | ({ADDITIVE_KIND} if FLUID_KIND in asked else set())


def disputed_parts(session: Session, kinds: Iterable[str], cut: Cut) -> list[PartSeen]:
    """Return disputed parts of the kinds: if such a claim is wrong, something else is in there."""
    rows = _with_lot(cut).where(DISPUTED)
    return _seen(session, rows.where(Part.kind.in_(sorted(kinds))) if set(kinds) else rows)


def kinds_with_gaps(session: Session) -> list[str]:
    """Return the kinds of all parts whose lot is or was not known: one look into the index each."""
    found: list[str] = []
    last = ""
    while True:
        # Not min(): SQLite would look at every row after it.
        following = select(Part.kind).where(LOT_UNKNOWN, Part.kind > last).order_by(Part.kind)
        kind = session.scalar(following.limit(1))
        if kind is None:
            return found
        found.append(kind)
        last = kind


def lots_alike(session: Session, question: Question, cut: Cut) -> list[UUID]:
    """Return lots of the same products whose text is only like one asked for."""
    wanted = {lot.id for lot in question.lots}
    found: dict[UUID, None] = {}
    for lot in question.lots:
        rows = select(Lot.id).where(
            Lot.site_id.in_(cut.sites),
            Lot.product_id == lot.product.id,
            Lot.loose_key == loose_key(lot.text),
        )
        found |= {lot_id: None for lot_id in session.scalars(rows) if lot_id not in wanted}
    return list(found)


def unknown_contents(session: Session, cut: Cut) -> list[UUID]:
    """Return the circuits whose contents are not recorded, nor listed whole by their sender.

    Also those whose beginning was voided and that were taken all the same: somebody had them in
    the hand, so the record of what was in them is missing. One that was never taken never was.
    """
    rows = select(Circuit.id).where(
        Circuit.site_id.in_(cut.sites),
        Circuit.contents == "not-recorded",
        Circuit.begun_no <= cut.number,
    )
    never_were = set(
        session.scalars(
            select(CircuitPhase.circuit_id).where(
                NEVER_WAS_ROW,
                CircuitPhase.site_id.in_(cut.sites),
                believed_at(CircuitPhase, cut.number),
            )
        )
    )
    taken = {
        circuit_id
        for block in blocks(sorted(never_were))
        for circuit_id in _taken(block, session, cut)
    }
    found = [circuit_id for circuit_id in session.scalars(rows) if circuit_id not in never_were]
    listed: set[UUID] = set()
    for block in blocks(found):
        listed |= listed_whole(session, cut.sites, block, cut.number)
    return [*(each for each in found if each not in listed), *sorted(taken)]


def _taken(block: Sequence[UUID], session: Session, cut: Cut) -> set[UUID]:
    rows = select(CircuitOnRun.circuit_id).where(
        CircuitOnRun.site_id.in_(cut.sites),
        CircuitOnRun.circuit_id.in_(block),
        believed_at(CircuitOnRun, cut.number),
    )
    return set(session.scalars(rows))


def circuits_begun(session: Session, cut: Cut) -> int:
    """Return how many circuits the record holds."""
    rows = (
        select(func.count())
        .select_from(Circuit)
        .where(Circuit.site_id.in_(cut.sites), Circuit.begun_no <= cut.number)
    )
    return session.scalar(rows) or 0


T = TypeVar("T")


def blocks(ids: Sequence[T]) -> Iterator[Sequence[T]]:
    """Yield the ids in blocks that fit into one statement."""
    for start in range(0, len(ids), BLOCK):
        yield ids[start : start + BLOCK]


_COLUMNS: Final[tuple[Any, ...]] = (
    Part.circuit_id,
    Part.slot,
    Part.ordinal,
    Part.kind,
    Part.state,
    Part.known,
    Part.product_id,
    Part.lot_id,
    Part.serial,
    Part.valid_from,
    Part.valid_to,
    Part.leaves,
    Part.stays,
    Part.disputed,
    Part.recorded_no,
    Part.line,
)


def not_superseded(
    number: InstrumentedAttribute[int | None], cut: Cut
) -> list[ColumnElement[bool]]:
    """Return conditions that together mean "not yet by then", each one range of an index.

    Written as one condition with OR, a database would pass over everything that came since, and
    over everything there is while nothing came.
    """
    conditions: list[ColumnElement[bool]] = [number.is_(None)]
    return conditions if cut.latest else [*conditions, number > cut.number]


def _with_lot(cut: Cut) -> Select[Any]:
    return (
        select(*_COLUMNS, Lot.text)
        .outerjoin(Lot, (Lot.site_id == Part.site_id) & (Lot.id == Part.lot_id))
        .where(believed_at(Part, cut.number))
    )


def _seen(session: Session, rows: Select[Any]) -> list[PartSeen]:
    has_lot = len(rows.selected_columns) > len(_COLUMNS)
    lot_text: Callable[[Row[Any]], str | None] = (
        (lambda row: row[-1]) if has_lot else lambda _: None
    )
    return [
        PartSeen(
            circuit_id=row.circuit_id,
            slot=row.slot,
            ordinal=row.ordinal,
            kind=row.kind,
            state=PartState(row.state),
            known=row.known,
            product_id=row.product_id,
            lot_id=row.lot_id,
            lot=lot_text(row),
            serial=row.serial,
            start=row.valid_from,
            end=row.valid_to,
            leaves=row.leaves,
            stays=row.stays,
            disputed=row.disputed,
            recorded_no=row.recorded_no,
            line=row.line,
        )
        for row in session.execute(rows)
    ]


def parts_in(
    session: Session, circuit_ids: Sequence[UUID], cut: Cut, *where: ColumnElement[bool]
) -> list[PartSeen]:
    """Return the parts of these circuits, or those of them that a condition asks for."""
    rows = _with_lot(cut).where(Part.site_id.in_(cut.sites), *where)
    return [
        part
        for block in blocks(circuit_ids)
        for part in _seen(session, rows.where(Part.circuit_id.in_(block)))
    ]
