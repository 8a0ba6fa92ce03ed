"""What became of each lot that a notice asks for, in numbers, as of a ledger entry.

Received, left, returned, not found: from the stock book. Used: from the circuits themselves, so
that ward stock, which is not counted, is answered too. Source of the columns: trade practice
settled in review; common practice, no source.
"""

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from typing import Any
from uuid import UUID

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from traceability.domain.events import Kind
from traceability.domain.exposure import Shelf
from traceability.domain.known_rows import KnownRow, Subject, key_of
from traceability.domain.notice_scope import Said, Scope
from traceability.domain.parts import PartState
from traceability.domain.stock_book import OutReason
from traceability.storage.base import believed_at
from traceability.storage.circuits import Part
from traceability.storage.holds import Hold
from traceability.storage.items import Lot, Packaging, Product
from traceability.storage.stock import StockBook, StockChange, StockReceipt


@dataclass(frozen=True, slots=True, kw_only=True)
class LotAccount:
    """One lot's numbers, in units of use; None: the stock book does not count this product."""

    product: str
    maker: str
    item_number: str
    lot: str
    """As printed; empty: pieces without a lot."""
    known: bool
    """False: no piece of this lot was ever recorded here."""
    received: int | None
    used: int
    """Pieces that went into circuits, whatever became of these; one dropped on the way too."""
    discarded: int | None
    """Broken, expired, used for practice, and other reasons."""
    returned: int | None
    lent: int | None
    left: int | None
    on_hold: int | None
    """Of those left."""
    not_found: int | None
    """Missing at counts; below zero: more was found than the book had."""

    def body(self) -> dict[str, Any]:
        """Return the same as plain values."""
        return asdict(self)


def lot_accounts(
    session: Session, site_id: UUID, scope: Scope, rows: Iterable[KnownRow], cut_no: int
) -> list[LotAccount]:
    """Return the numbers of each lot of the answer's stock and circuits, and of each lot named."""
    pairs: set[tuple[UUID, UUID | None]] = set()
    circuits: set[UUID] = set()
    named = set(_named(session, site_id, scope))
    for row in rows:
        key = key_of(row.key)
        if row.shelf is Shelf.EXCLUDED:
            continue
        if key.subject is Subject.STOCK and key.ids[0]:
            pairs.add((key.ids[0], key.ids[1]))
        if key.subject is Subject.CIRCUIT and key.ids[0]:
            circuits.add(key.ids[0])
    pairs |= _in_scope(session, site_id, scope, circuits, cut_no)
    texts = dict(_texts(session, site_id, pairs))
    found = [
        _account(session, site_id, product_id, lot_id, texts.get(lot_id, ""), cut_no)
        for product_id, lot_id in pairs
    ]
    there = {(product_id, texts.get(lot_id, "")) for product_id, lot_id in pairs}
    found += [
        _account(session, site_id, product_id, None, text, cut_no, known=False)
        for product_id, text in named - there
    ]
    return sorted(found, key=lambda each: (each.product, each.maker, each.lot))


def _products_of(session: Session, site_id: UUID, scope: Scope) -> dict[int, set[UUID]]:
    """Return our products that each clause names, by its place in the scope."""
    found: dict[int, set[UUID]] = {}
    for number, clause in enumerate(scope.clauses):
        ours = found.setdefault(number, set())
        for ref in clause.products:
            if ref.standard and ref.identifier:
                level = session.get(Packaging, (site_id, ref.standard, ref.identifier))
                ours |= {level.product_id} if level else set()
            elif ref.maker and ref.item_number:
                same = select(Product.id).filter_by(
                    site_id=site_id, maker=ref.maker, item_number=ref.item_number
                )
                ours |= set(session.scalars(same))
    return found


def _named(session: Session, site_id: UUID, scope: Scope) -> Iterable[tuple[UUID, str]]:
    """Yield each lot text that the scope names, with our product."""
    products = _products_of(session, site_id, scope)
    for number, clause in enumerate(scope.clauses):
        for test in clause.tests:
            if test.kind is Said.LOTS:
                for product_id in products[number]:
                    yield from ((product_id, text) for text in test.texts)


def _in_scope(
    session: Session, site_id: UUID, scope: Scope, circuits: set[UUID], cut_no: int
) -> set[tuple[UUID, UUID | None]]:
    """Return product and lot of the pieces in these circuits that the scope's products are."""
    ours = sorted(
        {each for found in _products_of(session, site_id, scope).values() for each in found}
    )
    pairs: set[tuple[UUID, UUID | None]] = set()
    ids = sorted(circuits)
    for start in range(0, len(ids), 500):
        rows = select(Part.product_id, Part.lot_id).where(
            Part.site_id == site_id,
            Part.circuit_id.in_(ids[start : start + 500]),
            Part.product_id.in_(ours),
            Part.lot_id.is_not(None),
            believed_at(Part, cut_no),
        )
        found = session.execute(rows.distinct())
        pairs |= {(product_id, lot_id) for product_id, lot_id in found if product_id}
    named = {text for _, text in _named(session, site_id, scope)}
    # Where the notice names lots, only those are accounted for; other lots of a circuit are not.
    if named and all(any(t.kind is Said.LOTS for t in c.tests) for c in scope.clauses):
        texts = dict(_texts(session, site_id, pairs))
        pairs = {pair for pair in pairs if texts.get(pair[1], "") in named}
    return pairs


def _texts(
    session: Session, site_id: UUID, pairs: Iterable[tuple[UUID, UUID | None]]
) -> Iterable[tuple[UUID | None, str]]:
    for lot_id in {each for _, each in pairs if each}:
        yield lot_id, session.get_one(Lot, (site_id, lot_id)).text


def _account(
    session: Session,
    site_id: UUID,
    product_id: UUID,
    lot_id: UUID | None,
    text: str,
    cut_no: int,
    *,
    known: bool = True,
) -> LotAccount:
    product = session.get_one(Product, (site_id, product_id))
    counted = product.counted and session.get(StockBook, (site_id, product_id)) is not None
    changed = _changes(session, site_id, product_id, lot_id, cut_no) if known else []
    left = sum(quantity for _, _, quantity in changed)
    out = dict.fromkeys(OutReason, 0)
    for why, reason, quantity in changed:
        if why == Kind.STOCK_OUT:
            out[OutReason(reason)] -= quantity
    gone = sum(out.values()) - out[OutReason.RETURNED] - out[OutReason.LENT]
    counts = -sum(quantity for why, _, quantity in changed if why == Kind.STOCK_COUNTED)
    numbers: dict[str, int | None] = {
        "received": _received(session, site_id, product_id, lot_id, cut_no) if known else 0,
        "discarded": gone,
        "returned": out[OutReason.RETURNED],
        "lent": out[OutReason.LENT],
        "left": left,
        "on_hold": max(left, 0) if _held(session, site_id, product_id, lot_id, cut_no) else 0,
        "not_found": counts,
    }
    if not counted and known:
        numbers = dict.fromkeys(numbers)
    return LotAccount(
        product=product.substance or product.name,
        maker=product.maker,
        item_number=product.item_number,
        lot=text,
        known=known,
        used=_used(session, site_id, product_id, lot_id, cut_no) if known else 0,
        **numbers,
    )


def _changes(
    session: Session, site_id: UUID, product_id: UUID, lot_id: UUID | None, cut_no: int
) -> Sequence[tuple[str, str, int]]:
    rows = select(StockChange.why, StockChange.reason, StockChange.quantity).where(
        StockChange.site_id == site_id,
        StockChange.product_id == product_id,
        StockChange.lot_id.is_(None) if lot_id is None else StockChange.lot_id == lot_id,
        StockChange.recorded_no <= cut_no,
    )
    return [(why, reason, quantity) for why, reason, quantity in session.execute(rows)]


def _received(
    session: Session, site_id: UUID, product_id: UUID, lot_id: UUID | None, cut_no: int
) -> int:
    rows = select(func.sum(StockReceipt.quantity)).where(
        StockReceipt.site_id == site_id,
        StockReceipt.product_id == product_id,
        StockReceipt.lot_id.is_(None) if lot_id is None else StockReceipt.lot_id == lot_id,
        believed_at(StockReceipt, cut_no),
    )
    return session.scalar(rows) or 0


def _used(
    session: Session, site_id: UUID, product_id: UUID, lot_id: UUID | None, cut_no: int
) -> int:
    if lot_id is None:
        return 0
    rows = select(func.count(func.distinct(Part.part_id))).where(
        Part.site_id == site_id,
        Part.lot_id == lot_id,
        Part.product_id == product_id,
        Part.state == PartState.RECORDED,
        believed_at(Part, cut_no),
    )
    return session.scalar(rows) or 0


def _held(
    session: Session, site_id: UUID, product_id: UUID, lot_id: UUID | None, cut_no: int
) -> bool:
    rows = select(Hold.subject_id).where(
        Hold.site_id == site_id,
        Hold.subject_id.in_([each for each in (product_id, lot_id) if each]),
        Hold.valid_to.is_(None),
        believed_at(Hold, cut_no),
    )
    return session.scalar(rows.limit(1)) is not None
