"""What is in a circuit, as another hospital has to know it: never a patient, never a name."""

from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from traceability.domain.contents_file import ContentsFile, FilePart, FileProduct
from traceability.storage.base import believed_at
from traceability.storage.circuits import Circuit, Part
from traceability.storage.items import Lot, Product
from traceability.storage.lookup import prime_of, sheet_of
from traceability.storage.moves import contents_known
from traceability.storage.site import Site


def contents_of(session: Session, circuit: Circuit) -> ContentsFile:
    """Return the list that goes with the circuit: what is in it now, and fluids that stay in it.

    A part that was taken out again is not in it; a fluid is, whatever became of its bag.
    """
    site = session.get_one(Site, circuit.site_id)
    prime = prime_of(session, circuit)
    sheet = sheet_of(session, circuit.site_id, circuit.circuit_type, circuit.sheet_version)
    names = {slot.id: slot.name for slot in sheet.slots} if sheet else {}
    order = {slot_id: number for number, slot_id in enumerate(names)}
    parts = sorted(
        _parts(session, circuit),
        key=lambda row: (order.get(row[0].slot, len(order)), row[0].slot, row[0].ordinal),
    )
    return ContentsFile(
        practice=site.practice,
        site=site.name,
        unit=site.unit,
        ring=site.ring,
        site_code=site.code,
        number=circuit.number,
        circuit_type=circuit.circuit_type,
        way=sheet.way if sheet else "",
        primed_at=prime.valid_from if prime else None,
        use_by=prime.use_by if prime else None,
        complete=contents_known(session, circuit),
        parts=tuple(
            FilePart(
                place=names.get(part.slot, part.slot),
                kind=part.kind,
                state=part.state,
                known=part.known,
                product=None if product is None else _product(product),
                lot=lot if product is not None else None,
                serial=part.serial if product is not None else None,
                expires=part.expiry,
                volume_ml=part.volume_ml or None,
                priming_only=part.leaves,
            )
            for part, product, lot in parts
        ),
    )


def _parts(session: Session, circuit: Circuit) -> list[tuple[Part, Product | None, str | None]]:
    rows = (
        select(Part, Product, Lot.text)
        .outerjoin(Product, (Product.site_id == Part.site_id) & (Product.id == Part.product_id))
        .outerjoin(Lot, (Lot.site_id == Part.site_id) & (Lot.id == Part.lot_id))
        .where(
            Part.site_id == circuit.site_id,
            Part.circuit_id == circuit.id,
            believed_at(Part, None),
            or_(Part.valid_to.is_(None), Part.stays),
        )
        .order_by(Part.recorded_no, Part.line)
    )
    return [(part, product, lot) for part, product, lot in session.execute(rows)]


def _product(product: Product) -> FileProduct:
    return FileProduct(
        standard=product.standard,
        identifier=product.identifier,
        name=product.name,
        maker=product.maker,
        item_number=product.item_number,
        substance=product.substance,
        volume_ml=product.volume_ml,
        circuit_type=product.circuit_type,
    )
