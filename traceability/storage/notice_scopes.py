"""Which open notice means a piece that is about to be put into a circuit.

Scopes never change, so each is read and made ready once in a process; a scan asks which versions
are in force and looks up the rest only for products that a scope is about.
"""

import json
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from traceability.domain.named_by import Asking, Came, Item, asking, named
from traceability.domain.notice_scope import read_scope
from traceability.domain.scopes import Match
from traceability.storage.holds import Hold
from traceability.storage.items import Packaging, Product
from traceability.storage.kept_apart import KeptApart
from traceability.storage.notice_life import Notice, NoticeScope, NoticeState
from traceability.storage.notices import CartonNotice, CartonNoticeLot, LotRuling
from traceability.storage.stock import StockReceipt

__all__ = ["NamedBy", "PieceRead", "named_by"]

KEPT_READY: Final = 200
"""Scopes made ready that are kept in memory; more notices are never open at once in one unit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceRead:
    """What a code said of the piece."""

    product: Product
    lot: str | None
    lot_id: UUID | None
    unit_id: UUID | None
    item: Item
    """Without what only the tables know."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NamedBy:
    """The notice that means the piece, and how sure that is."""

    number: str
    match: Match


def named_by(session: Session, piece: PieceRead, at: datetime, zone: ZoneInfo) -> NamedBy | None:
    """Return the open notice that means this piece, the surest first; None: none does.

    A lot that was on hold for a notice and was released since is not named by it any more: somebody
    with the right to do so has looked at it.
    """
    open_scopes = list(_open_scopes(session, piece.product.site_id))
    if not open_scopes:
        return None
    item = _with_packs(session, piece)
    about = [(number, scope) for number, scope in open_scopes if scope.may_name(item)]
    if not about:
        return None
    item = _with_book(session, piece, item, zone)
    best: NamedBy | None = None
    for number, scope in about:
        match = named(scope, item, at)
        if match is Match.OUT or _was_released(session, piece, number):
            continue
        if best is None or (best.match is Match.ALIKE and match is Match.IN):
            best = NamedBy(number=number, match=match)
    return best


def _open_scopes(session: Session, site_id: UUID) -> Iterator[tuple[str, Asking]]:
    newest = (
        select(func.max(NoticeScope.version))
        .where(NoticeScope.site_id == site_id, NoticeScope.notice_id == Notice.id)
        .correlate(Notice)
        .scalar_subquery()
    )
    rows = session.execute(
        select(Notice.id, Notice.number, Notice.opened_no, newest.label("version"))
        .join(
            NoticeState,
            (NoticeState.site_id == Notice.site_id) & (NoticeState.notice_id == Notice.id),
        )
        .where(
            NoticeState.site_id == site_id,
            NoticeState.ended == "",
            NoticeState.superseded_no.is_(None),
            NoticeState.valid_to.is_(None),
        )
        .order_by(Notice.opened_no)
    ).all()
    for row in rows:
        if row.version is not None:
            yield row.number, _made_ready(session, site_id, row.id, row.version)


_READY: Final[dict[tuple[str, UUID, UUID, int], Asking]] = {}
"""By store, site, notice and version. A version never changes, so what is here stays true."""


def _made_ready(session: Session, site_id: UUID, notice_id: UUID, version: int) -> Asking:
    key = (str(session.get_bind().engine.url), site_id, notice_id, version)
    found = _READY.get(key)
    if found is None:
        body = session.get_one(NoticeScope, (site_id, notice_id, version)).body
        if len(_READY) >= KEPT_READY:
            _READY.clear()
        found = _READY[key] = asking(read_scope(json.loads(body)))
    return found


def _codes(session: Session, site_id: UUID, product_id: UUID) -> frozenset[tuple[str, str]]:
    levels = select(Packaging.standard, Packaging.identifier).filter_by(
        site_id=site_id, product_id=product_id
    )
    return frozenset((row.standard, row.identifier) for row in session.execute(levels))


def _with_packs(session: Session, piece: PieceRead) -> Item:
    """Add the product's codes, and what makers stated to be inside packs of it."""
    product = piece.product
    site_id = product.site_id
    item = replace(piece.item, codes=_codes(session, site_id, product.id))
    stated = session.scalars(
        select(CartonNotice).filter_by(
            site_id=site_id, product_id=product.id, superseded_no=None, valid_to=None
        )
    ).all()
    inside, may_hold = [], set[tuple[str, str]]()
    for each in stated:
        inner = session.get(Product, (site_id, each.inner_product_id))
        if inner is None:
            continue
        codes = _codes(session, site_id, inner.id)
        lots = select(CartonNoticeLot.text).filter_by(site_id=site_id, recorded_no=each.recorded_no)
        listed = piece.lot is not None and piece.lot in set(session.scalars(lots))
        if listed:
            inside.append(
                Item(
                    codes=codes,
                    maker=inner.maker,
                    item_number=inner.item_number,
                    kind=inner.kind,
                    lot=each.inner_lot_text,
                )
            )
        if not (each.sole if listed else each.complete):
            may_hold |= codes
    return replace(item, inside=tuple(inside), may_hold=frozenset(may_hold))


def _with_book(session: Session, piece: PieceRead, item: Item, zone: ZoneInfo) -> Item:
    """Add the deliveries of the lot, and what people ruled about its text."""
    site_id, product_id = piece.product.site_id, piece.product.id
    came: list[Came] = []
    if piece.lot_id is not None:
        rows = session.execute(
            select(StockReceipt, KeptApart.text)
            .outerjoin(KeptApart, KeptApart.id == StockReceipt.supplier_id)
            .where(
                StockReceipt.site_id == site_id,
                StockReceipt.product_id == product_id,
                StockReceipt.lot_id == piece.lot_id,
                StockReceipt.superseded_no.is_(None),
            )
            .order_by(StockReceipt.recorded_no)
        ).all()
        own = [row for row in rows if piece.unit_id and row[0].unit_id == piece.unit_id]
        came = [
            Came(
                received=receipt.valid_from.astimezone(zone).date(),
                shipped=receipt.shipped,
                made=receipt.made,
                supplier=supplier,
            )
            for receipt, supplier in own or rows
        ]
    ruled = session.scalars(
        select(LotRuling)
        .filter_by(site_id=site_id, product_id=product_id, superseded_no=None)
        .order_by(LotRuling.recorded_no)
    )
    # The newest on a pair counts, in either direction.
    rulings: dict[tuple[str, str], bool] = {}
    for each in ruled:
        rulings[each.captured, each.notice] = each.same
        rulings[each.notice, each.captured] = each.same
    return replace(item, came=tuple(came), rulings=rulings)


def _was_released(session: Session, piece: PieceRead, number: str) -> bool:
    subjects = [each for each in (piece.lot_id, piece.product.id) if each is not None]
    rows = select(Hold.valid_to).where(
        Hold.site_id == piece.product.site_id,
        Hold.subject_id.in_(subjects),
        Hold.notice == number,
        Hold.superseded_no.is_(None),
    )
    ends = list(session.scalars(rows))
    return bool(ends) and all(end is not None for end in ends)
