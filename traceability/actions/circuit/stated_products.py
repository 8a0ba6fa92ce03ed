"""Products as a sending hospital names them: one of ours where they are, else recorded as new."""

from dataclasses import dataclass
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.domain.contents_file import FileProduct
from traceability.domain.keys import product_key
from traceability.errors import UnknownCode
from traceability.storage.items import Product
from traceability.storage.lookup import packaging_of


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownProduct:
    """What is needed of a product, stored or about to be."""

    id: UUID
    kind: str
    volume_ml: int | None
    circuit_type: str


def product_by_id(product_id: UUID, site_id: UUID, session: Session) -> KnownProduct:
    """Return a product of ours.

    Raises:
        UnknownCode: there is none of that id.
    """
    stored = session.get(Product, (site_id, product_id))
    if stored is None:
        raise UnknownCode(what="product", value=str(product_id))
    return _known(stored)


def stated_product(
    stated: FileProduct, kind: str, site_id: UUID, session: Session
) -> tuple[KnownProduct, dict[str, object] | None]:
    """Return the product that is stated, and the body of the event that records it if it is new.

    A code of no agency means nothing outside its hospital: it is never taken for one of ours.
    """
    local = stated.standard == "none"
    level = None if local else packaging_of(session, site_id, stated.standard, stated.identifier)
    if level is not None:
        return _known(level[0]), None
    identifier = f"elsewhere:{stated.identifier}" if local else stated.identifier
    product_id = product_key(stated.standard, identifier, site_id=site_id)
    there = session.get(Product, (site_id, product_id))
    if there is not None:
        return _known(there), None
    body: dict[str, object] = {
        "product": product_id,
        "standard": stated.standard,
        "identifier": identifier,
        "name": stated.name,
        "maker": stated.maker or "not stated",
        "item_number": stated.item_number,
        "kind": kind,
        # Not what it holds and what it is for: a prime here must not go past a stop because
        # another hospital's file says so. Who keeps the lists adds it.
        "substance": "",
        "volume_ml": stated.volume_ml,
        "circuit_type": "",
        "counted": False,
        "packaging": [{"identifier": identifier, "units": 1}],
    }
    known = KnownProduct(id=product_id, kind=kind, volume_ml=stated.volume_ml, circuit_type="")
    return known, body


def _known(stored: Product) -> KnownProduct:
    return KnownProduct(
        id=stored.id,
        kind=stored.kind,
        volume_ml=stored.volume_ml,
        circuit_type=stored.circuit_type,
    )
