"""What acts on the shelves have in common: what they are about, and how they are appended."""

from collections.abc import Mapping
from datetime import date, datetime
from typing import Final
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.actions.once import Asked, Done, Site, ledger_of
from traceability.domain.events import Kind, Plain
from traceability.domain.keys import lot_key
from traceability.domain.moments import believed_moment
from traceability.errors import BadValue, UnknownCode
from traceability.storage.items import Lot, Product
from traceability.storage.ledger import OpenLedger
from traceability.storage.site import Place

MOST: Final = 100_000
"""Pieces in one act; more is a code scanned into the field for a number."""

LONGEST: Final = 60
"""Letters of a lot, box or supplier that a person writes; GS1 lots have 20 at most."""


def counted_product(session: Session, site: Site, product_id: UUID) -> Product:
    """Return a product whose number on the shelf is counted.

    Raises:
        UnknownCode: there is none. BadValue: it is ward stock. Nothing was written.
    """
    product = the_product(session, site, product_id)
    if not product.counted:
        raise BadValue(field="product", value=product.name, why="not-counted")
    return product


def the_product(session: Session, site: Site, product_id: UUID) -> Product:
    """Return the product.

    Raises:
        UnknownCode: there is none.
    """
    product = session.get(Product, (site.id, product_id))
    if product is None:
        raise UnknownCode(what="product", value=str(product_id))
    return product


def the_place(session: Session, site: Site, place_id: UUID | None) -> Place | None:
    """Return the place, None where none was said.

    Raises:
        UnknownCode: there is none of that id.
    """
    if place_id is None:
        return None
    place = session.get(Place, (site.id, place_id))
    if place is None:
        raise UnknownCode(what="place", value=str(place_id))
    return place


def lot_body(product: Product, lot_text: str) -> dict[str, object]:
    """Return how an event names product and lot; an empty text is a piece without a lot.

    Raises:
        BadValue: longer than any lot.
    """
    if len(lot_text) > LONGEST:
        raise BadValue(field="lot", value=lot_text[:LONGEST], why="too-long")
    return {
        "product": product.id,
        "lot": lot_key(product.id, lot_text) if lot_text else None,
        "lot_text": lot_text or None,
    }


def known_lot(session: Session, site: Site, body: Mapping[str, object]) -> Lot | None:
    """Return the lot of a body where it was seen before."""
    lot_id = body["lot"]
    return None if lot_id is None else session.get(Lot, (site.id, lot_id))


def require_number(field: str, number: int, *, least: int = 1) -> None:
    """Let a number of pieces pass.

    Raises:
        BadValue: too small, or so large that it is no number of pieces.
    """
    if number < least:
        raise BadValue(field=field, value=str(number), why="too-few")
    if number > MOST:
        raise BadValue(field=field, value=str(number), why="too-long")


def day_or_none(field: str, text: str) -> date | None:
    """Return the date a person wrote as YYYY-MM-DD; None for nothing.

    Raises:
        BadValue: it is no date.
    """
    if not text.strip():
        return None
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        raise BadValue(field=field, value=text, why="no-day") from None


def book(
    asked: Asked,
    ledger: OpenLedger,
    kind: Kind,
    at: datetime,
    body: Mapping[str, object],
    *,
    cautions: tuple[str, ...] = (),
) -> tuple[int, tuple[str, ...]]:
    """Append one event of the shelves at the moment believed; return its number and cautions."""
    believed, noted = believed_moment(at, now=ledger.now)
    all_cautions = (*cautions, *noted)
    whole = {**body, "device_at": at, "cautions": all_cautions}
    return ledger.append(kind, whole, happened_at=believed), all_cautions


def booked(
    asked: Asked,
    session: Session,
    site: Site,
    kind: Kind,
    at: datetime,
    body: Mapping[str, object],
    *,
    product: Product,
    facts: Mapping[str, Plain],
    cautions: tuple[str, ...] = (),
) -> Done:
    """Append one event and return what was done; its kind is the answer's code."""
    number, all_cautions = book(
        asked, ledger_of(asked, session, site), kind, at, body, cautions=cautions
    )
    return Done(
        first_no=number,
        last_no=number,
        subject=product.id,
        code=kind,
        facts={"name": product.name, **facts},
        cautions=all_cautions,
    )
