"""The parts in circuits that can matter to a scope, as of a ledger number, each by an index.

The cost grows with the answer, not with the store: parts by lot or by piece, those without a lot of
the kinds asked for, and disputed ones. Everything else is certainly something else.
"""

from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from datetime import datetime
from typing import Any, Final
from uuid import UUID

from sqlalchemy import Row, Select, select
from sqlalchemy.orm import Session

from traceability.domain.parts import PartState
from traceability.recall.asked import ANY_KIND, Compiled
from traceability.recall.cut import Cut
from traceability.recall.gathering import Gathered, PartMaker, other_items, part_seen
from traceability.recall.lots_in_scope import Wanted
from traceability.recall.narrowed import Narrowed
from traceability.recall.record import blocks, kinds_with_gaps, may_be_of, not_superseded
from traceability.storage.base import believed_at
from traceability.storage.circuits import DISPUTED, LOT_UNKNOWN, Part, Prime
from traceability.storage.items import Lot

__all__ = ["gather_parts"]

_COLUMNS: Final[tuple[Any, ...]] = (
    Part.site_id,
    Part.circuit_id,
    Part.part_id,
    Part.slot,
    Part.ordinal,
    Part.kind,
    Part.state,
    Part.known,
    Part.product_id,
    Part.lot_id,
    Part.serial,
    Part.expiry,
    Part.valid_from,
    Part.valid_to,
    Part.leaves,
    Part.stays,
    Part.disputed,
    Part.pack_part_id,
    Part.recorded_no,
    Part.line,
    Lot.text,
)


def gather_parts(
    session: Session,
    asked: Compiled,
    wanted: Wanted,
    book_kinds: Collection[str],
    left: Narrowed,
    cut: Cut,
) -> Gathered:
    """Return the uses of parts that may be asked for, and those that share a stock with them.

    Args:
        session: one that reads; all its reads see one state.
        asked: the scope.
        wanted: lots and pieces that may be in it.
        book_kinds: kinds whose stock book is reckoned with: all parts of theirs without a lot
            matter, since they took units too.
        left: what a book leaves of them to be read.
        cut: as of when.
    """
    found: dict[tuple[UUID, int, int], Row[Any]] = {}
    for row in (
        *_of_lots(session, wanted.lots, cut),
        *_of_units(session, wanted.units, cut),
        *_gaps(session, asked, wanted, book_kinds, left, cut),
        *_disputed(session, asked, cut),
    ):
        found.setdefault((row.site_id, row.recorded_no, row.line), row)
    rows = list(found.values())
    packs = _packs_of(session, rows, cut)
    primed = _primed(session, [*rows, *packs.values()], cut)
    return _gathered(rows, packs, primed, asked)


def _gathered(
    rows: Sequence[Row[Any]],
    packs: dict[UUID, Row[Any]],
    primed: dict[UUID, datetime],
    asked: Compiled,
) -> Gathered:
    gathered, made = Gathered(primed=primed), PartMaker(asked.makerless)
    kind_of = {product.id: product.kind or ANY_KIND for product in asked.products}
    items = asked.items

    def add(row: Row[Any], pack: int | None = None) -> int:
        item = kind_of.get(row.product_id, row.kind)
        key = (row.site_id, row.recorded_no, row.line, "")
        use = made.use(row, item, primed.get(row.circuit_id), pack)
        return gathered.add(key, use, part_seen(row))

    for row in rows:
        if row.state == PartState.INSIDE_PACK and row.product_id is None:
            pack = packs.get(row.pack_part_id) if row.pack_part_id else None
            key = add(row, _pack_key(add, pack, row, gathered))
        else:
            key = add(row)
        if row.product_id is None or row.product_id in asked.makerless:
            gathered.may_be(key, other_items(row.kind, items))
    return gathered


def _pack_key(
    add: Callable[[Row[Any]], int], pack: Row[Any] | None, inner: Row[Any], gathered: Gathered
) -> int:
    """Return the key of the pack's own use; one that is not on record is of no known lot."""
    if pack is not None:
        return add(pack)
    row = (inner.site_id, inner.recorded_no, inner.line, "pack")
    use = PartMaker().use(inner, "", None, None)
    return gathered.add(row, use, part_seen(inner))


def _of_lots(session: Session, lot_ids: Sequence[UUID], cut: Cut) -> Iterator[Row[Any]]:
    for block in blocks(lot_ids):
        yield from _read(session, _with_lot(cut).where(Part.lot_id.in_(block)))


def _of_units(session: Session, unit_ids: Sequence[UUID], cut: Cut) -> Iterator[Row[Any]]:
    for block in blocks(unit_ids):
        yield from _read(session, _with_lot(cut).where(Part.unit_id.in_(block)))


def _gaps(
    session: Session,
    asked: Compiled,
    wanted: Wanted,
    book_kinds: Collection[str],
    left: Narrowed,
    cut: Cut,
) -> Iterator[Row[Any]]:
    """Yield parts whose lot is not known: of the products asked for, and of those nobody named."""
    for kind, numbers in left.rows.items():
        yield from _numbered(session, kind, numbers, cut)
    in_store = [kind for kind in kinds_with_gaps(session) if kind not in left.rows]
    kinds = may_be_of(asked.kinds) & set(in_store) if asked.kinds else set(in_store)
    nameless = sorted(kinds | (set(book_kinds) & set(in_store)))
    by_serial = sorted(wanted.serial_only)
    by_lot = ({product.id for product in asked.products} - wanted.serial_only) | set(
        asked.makerless
    )
    products = sorted(by_lot | set(wanted.book_products))
    for still in not_superseded(Part.superseded_no, cut):
        gaps = _columns().where(LOT_UNKNOWN, Part.recorded_no <= cut.number, still)
        if nameless:
            unnamed = gaps.where(Part.kind.in_(nameless), Part.product_id.is_(None))
            yield from _read(session, unnamed)
        if not in_store:
            continue
        for ids, rows in ((products, gaps), (by_serial, gaps.where(Part.serial.is_(None)))):
            for block in blocks(ids):
                of_products = rows.where(Part.kind.in_(in_store), Part.product_id.in_(block))
                yield from _read(session, of_products)


def _numbered(session: Session, kind: str, numbers: Sequence[int], cut: Cut) -> Iterator[Row[Any]]:
    """Yield the parts of a kind without a lot that these entries wrote."""
    of_kind = _with_lot(cut).where(Part.site_id.in_(cut.sites), Part.kind == kind, LOT_UNKNOWN)
    for block in blocks(numbers):
        yield from _read(session, of_kind.where(Part.recorded_no.in_(block)))


def _read(session: Session, rows: Select[Any]) -> Sequence[Row[Any]]:
    """Return plain rows, past the entities' own loading: an answer may have tens of thousands."""
    return session.connection().execute(rows).all()


def _disputed(session: Session, asked: Compiled, cut: Cut) -> Iterator[Row[Any]]:
    """Yield disputed parts of the kinds: if such a claim is wrong, something else is in there."""
    rows = _with_lot(cut).where(DISPUTED)
    if asked.kinds:
        rows = rows.where(Part.kind.in_(sorted(asked.kinds)))
    yield from _read(session, rows)


def _packs_of(session: Session, rows: Iterable[Row[Any]], cut: Cut) -> dict[UUID, Row[Any]]:
    """Return the packs that brought parts whose own lot is not known, by id of the piece."""
    inner = [row for row in rows if row.state == PartState.INSIDE_PACK and row.pack_part_id]
    ids = {row.pack_part_id for row in inner}
    found: dict[UUID, Row[Any]] = {}
    for block in blocks(sorted({row.circuit_id for row in inner})):
        of_circuits = _with_lot(cut).where(
            Part.site_id.in_(cut.sites),
            Part.circuit_id.in_(block),
            Part.pack_part_id.is_(None),
        )
        for row in _read(session, of_circuits):
            if row.part_id in ids:
                found.setdefault(row.part_id, row)
    return found


def _primed(session: Session, rows: Iterable[Row[Any]], cut: Cut) -> dict[UUID, datetime]:
    """Return when the primes ended of circuits with parts that leave then, or left at some time."""
    found: dict[UUID, datetime] = {}
    ids = sorted({row.circuit_id for row in rows if row.leaves or row.valid_to is not None})
    for block in blocks(ids):
        ended = select(Prime.circuit_id, Prime.valid_from).where(
            Prime.site_id.in_(cut.sites),
            Prime.circuit_id.in_(block),
            Prime.valid_to.is_(None),
            believed_at(Prime, cut.number),
        )
        found |= {row.circuit_id: row.valid_from for row in session.execute(ended)}
    return found


def _columns() -> Select[Any]:
    """Return all columns; parts without a lot have no text of one either."""
    return select(*_COLUMNS).outerjoin(Lot, (Lot.site_id == Part.site_id) & (Lot.id == Part.lot_id))


def _with_lot(cut: Cut) -> Select[Any]:
    return _columns().where(believed_at(Part, cut.number))
