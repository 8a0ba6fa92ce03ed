"""Pieces come in: scanned pack by pack or carton by carton, or written where no code names them."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import ClassVar
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.actions.once import Asked, Done, Site, answer_once, ledger_of
from traceability.actions.prime.scanned import Question, Scan, understand_at
from traceability.actions.stock.booking import (
    LONGEST,
    book,
    day_or_none,
    known_lot,
    lot_body,
    require_number,
    the_place,
    the_product,
)
from traceability.domain.events import Kind
from traceability.domain.moments import ONE_SCAN
from traceability.domain.parts import Known
from traceability.domain.people import Right
from traceability.domain.scopes import loose_key
from traceability.domain.stock_book import doubts_of
from traceability.errors import BadScan, BadValue
from traceability.storage.items import Lot, Product
from traceability.storage.kept_apart import keep_apart
from traceability.storage.ledger import OpenLedger
from traceability.storage.lookup import hold_on
from traceability.storage.stock import StockReceipt

LONGEST_CODE = 400
"""A product code longer than this is not looked at (identifier rule R-1)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReceiveStock(Asked):
    """So many packs or cartons of one code came in."""

    kind: ClassVar[str] = "receive-stock"
    right: ClassVar[Right | None] = Right.LISTS
    at: datetime
    text: str = ""
    """The characters as the scanner sent them; empty: product and lot are written below."""
    symbology_identifier: str | None = None
    channel: str = "physical-keys"
    """ "typed" where a person typed what is printed under the code."""
    before: str = ""
    """The other half of the label, read just before."""
    chosen: str = ""
    """ "as-read" or "alternative", after comparing with the print."""
    product_id: UUID | None = None
    lot_text: str = ""
    """The lot as printed, where the code has none."""
    without_lot: bool = False
    """A person looked: the pieces carry no lot."""
    expiry: str = ""
    """YYYY-MM-DD as printed, where the code has none."""
    packs: int = 1
    """How many packages of the level that was scanned."""
    place_id: UUID | None = None
    box: str = ""
    made: str = ""
    """YYYY-MM-DD as printed, where the code has none."""
    shipped: str = ""
    """YYYY-MM-DD, from the delivery note."""
    supplier: str = ""
    """Who sent it; free text, so it is kept apart."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Pieces:
    """What came in, however it was told."""

    product: Product
    lot: str
    unit_id: UUID | None
    expiry: date | None
    made: date | None
    a_pack: int
    """Units of use in one package."""
    known: str


def receive_stock(asked: ReceiveStock, *, site: Site) -> Done:
    """Book the pieces in; the answer's facts carry how many units of use.

    What speaks against using them is among the cautions: they are in the house all the same.

    Raises:
        BadScan: the code names no piece yet; `why` says what is asked. BadValue, UnknownCode.
        Nothing was written.
    """
    return answer_once(asked, _receive, site)


def _receive(asked: ReceiveStock, session: Session, site: Site) -> Done:
    require_number("packs", asked.packs)
    place = the_place(session, site, asked.place_id)
    for field, text in (("box", asked.box), ("supplier", asked.supplier)):
        if len(text.strip()) > LONGEST:
            raise BadValue(field=field, value=text[:LONGEST], why="too-long")
    shipped = day_or_none("shipped", asked.shipped)
    today = asked.at.astimezone(site.zone).date()
    pieces = _scanned(asked, session, site, today) if asked.text else _written(asked, session, site)
    if not pieces.lot and pieces.unit_id is None and not asked.without_lot:
        raise BadScan(why="stock-lot-missing", name=pieces.product.name)
    quantity = pieces.a_pack * asked.packs
    require_number("pieces", quantity)
    ledger = ledger_of(asked, session, site)
    body = lot_body(pieces.product, pieces.lot)
    _require_another(asked, pieces, body["lot"], ledger, session, site)
    cautions = _doubts(pieces, body, session, site, today)
    supplier = asked.supplier.strip()
    body |= {
        "expiry": pieces.expiry and pieces.expiry.isoformat(),
        "quantity": quantity,
        "place": place and place.id,
        "box": asked.box.strip() or None,
        "made": pieces.made and pieces.made.isoformat(),
        "shipped": shipped and shipped.isoformat(),
        "supplier": keep_apart(session, supplier, at=ledger.now) if supplier else None,
        "known": pieces.known,
        "unit": pieces.unit_id,
    }
    number, all_cautions = book(
        asked, ledger, Kind.STOCK_RECEIVED, asked.at, body, cautions=cautions
    )
    return Done(
        first_no=number,
        last_no=number,
        subject=pieces.product.id,
        code=Kind.STOCK_RECEIVED,
        facts={
            "name": pieces.product.name,
            "lot": pieces.lot or None,
            "quantity": quantity,
            "packs": asked.packs,
            "a_pack": pieces.a_pack,
            "place": place.name if place else None,
            "counted": pieces.product.counted,
        },
        cautions=all_cautions,
    )


def _scanned(asked: ReceiveStock, session: Session, site: Site, today: date) -> _Pieces:
    if len(asked.text) > LONGEST_CODE:
        raise BadScan(why="unreadable", reason="too-long")
    scan = Scan(
        text=asked.text,
        symbology_identifier=asked.symbology_identifier,
        channel=asked.channel,
        chosen=asked.chosen,
    )
    half = Scan(text=asked.before, channel=asked.channel) if asked.before else None
    found = understand_at(scan, half, session, site.id, today)
    if half is not None and not isinstance(found, Question) and not found.piece.lot:
        # The half with the lot came first.
        other = understand_at(half, scan, session, site.id, today)
        found = found if isinstance(other, Question) else other
    if isinstance(found, Question):
        raise BadScan(why=found.code, **found.facts)
    piece = found.piece
    if piece.lot and asked.lot_text.strip() not in {"", piece.lot}:
        raise BadScan(why="stock-other-lot", lot=piece.lot, written=asked.lot_text.strip())
    read = piece.lot or piece.serial
    return _Pieces(
        product=found.product,
        lot=piece.lot or asked.lot_text.strip(),
        unit_id=found.unit_id,
        expiry=piece.expiry or day_or_none("expires", asked.expiry),
        made=found.made or day_or_none("made", asked.made),
        a_pack=found.level_units,
        known=Known.SCANNED if read and asked.channel != "typed" else Known.TYPED,
    )


def _written(asked: ReceiveStock, session: Session, site: Site) -> _Pieces:
    if asked.product_id is None:
        raise BadScan(why="unreadable", reason="empty")
    return _Pieces(
        product=the_product(session, site, asked.product_id),
        lot=asked.lot_text.strip(),
        unit_id=None,
        expiry=day_or_none("expires", asked.expiry),
        made=day_or_none("made", asked.made),
        a_pack=1,
        known=Known.TYPED,
    )


def _require_another(
    asked: ReceiveStock,
    pieces: _Pieces,
    lot_id: object,
    ledger: OpenLedger,
    session: Session,
    site: Site,
) -> None:
    """Refuse what is the same piece again: one serial twice, or one pull of the trigger twice."""
    if pieces.unit_id is not None:
        again = select(StockReceipt.valid_from).filter_by(
            site_id=site.id, unit_id=pieces.unit_id, superseded_no=None
        )
        since = session.scalar(again.limit(1))
        if since is not None:
            raise BadScan(why="stock-unit-again", since=since)
        if asked.packs != 1:
            raise BadScan(why="stock-serial-once", name=pieces.product.name)
    if not asked.text:
        return
    newest = select(StockReceipt).filter_by(site_id=site.id)
    last = session.scalar(newest.order_by(StockReceipt.recorded_no.desc()).limit(1))
    if (
        last is not None
        and last.device_id == asked.sent.device_id
        and (last.product_id, last.lot_id, last.unit_id) == (pieces.product.id, lot_id, None)
        and pieces.unit_id is None
        and abs(ledger.now - last.valid_from) < ONE_SCAN
    ):
        raise BadScan(why="stock-same-scan", name=pieces.product.name)


def _doubts(
    pieces: _Pieces, body: dict[str, object], session: Session, site: Site, today: date
) -> tuple[str, ...]:
    lot = known_lot(session, site, body)
    lot_id = body["lot"] if isinstance(body["lot"], UUID) else None
    return doubts_of(
        today=today,
        expiry=pieces.expiry,
        known_expiry=lot.expiry if lot else None,
        lot=pieces.lot or None,
        on_hold=hold_on(session, site.id, lot_id, pieces.product.id) is not None,
        alike=lot is None and bool(pieces.lot) and _has_twin(session, site, pieces),
    )


def _has_twin(session: Session, site: Site, pieces: _Pieces) -> bool:
    rows = select(Lot.id).filter_by(
        site_id=site.id, loose_key=loose_key(pieces.lot), product_id=pieces.product.id
    )
    return session.scalar(rows.where(Lot.text != pieces.lot).limit(1)) is not None
