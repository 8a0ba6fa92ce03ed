"""What the record knows of a piece beside its code: the notice that means it, the book's word."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime

from sqlalchemy.orm import Session

from traceability.actions.once import Site
from traceability.actions.prime.scanned import Understood
from traceability.domain.events import Plain
from traceability.domain.in_place import InPlace
from traceability.domain.named_by import Item
from traceability.domain.scopes import Match
from traceability.domain.sheets import Sheet
from traceability.domain.trolley import Piece
from traceability.storage.notice_scopes import PieceRead, named_by
from traceability.storage.stock_lookup import is_missing_in_book


def known_of(session: Session, site: Site, understood: Understood, at: datetime) -> Piece:
    """Return the piece with the open notice that means it and whether its lot was ever received."""
    piece, product = understood.piece, understood.product
    item = Item(
        codes=frozenset(),
        maker=product.maker,
        item_number=product.item_number,
        kind=product.kind,
        lot=piece.lot,
        serial=piece.serial,
        expiry=piece.expiry,
        made=understood.made,
    )
    read = PieceRead(
        product=product,
        lot=piece.lot,
        lot_id=understood.lot_id,
        unit_id=understood.unit_id,
        item=item,
    )
    found = named_by(session, read, at, site.zone)
    return replace(
        piece,
        in_notice=found.number if found and found.match is Match.IN else "",
        like_notice=found.number if found and found.match is Match.ALIKE else "",
        never_received=is_missing_in_book(session, product, understood.lot_id),
    )


def in_already(sheet: Sheet, filled: list[InPlace], kind: str) -> Mapping[str, Plain]:
    """Return what of this kind is in already: how many of how many, and which lots."""
    slots = {slot.id: slot.count for slot in sheet.slots if slot.kind == kind and slot.is_counted}
    inside = [each for each in filled if each.slot in slots]
    lots = list(dict.fromkeys(each.lot for each in inside if each.lot))
    return {"in_count": len(inside), "in_of": sum(slots.values()), "in_lots": lots}
