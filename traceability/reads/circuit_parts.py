"""The parts of one circuit, as pages show them."""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.domain.at_the_run import OFF_THE_SHEET
from traceability.domain.parts import PartState
from traceability.storage.base import believed_at
from traceability.storage.circuits import Circuit, Part
from traceability.storage.items import Lot, Product
from traceability.storage.lookup import (
    sheet_of,
)
from traceability.storage.run_extras import Additive


@dataclass(frozen=True, slots=True, kw_only=True)
class PartFacts:
    """One piece in one place, or one that was there."""

    slot: str
    place: str
    """Name of the place in the circuit."""
    ordinal: int
    count: int
    kind: str
    state: PartState
    known: str
    name: str
    """Product name, or empty."""
    maker: str
    item_number: str
    lot: str | None
    serial: str | None
    expiry: str | None
    product_id: UUID | None
    lot_id: UUID | None
    from_: datetime
    until: datetime | None
    leaves: bool
    disputed: bool


def given_as(additive: Additive | None) -> str:
    """Return an additive as it was given: name, dose and unit; empty for any other part."""
    if additive is None:
        return ""
    dose = f"{additive.dose} {additive.unit}".strip()
    return f"{additive.name}, {dose}" if dose else additive.name


def parts_of(session: Session, circuit: Circuit, as_of_no: int | None) -> list[PartFacts]:
    """Return all parts that are or were in it, in the order of its sheet."""
    sheet = sheet_of(session, circuit.site_id, circuit.circuit_type, circuit.sheet_version)
    slots = {slot.id: slot for slot in sheet.slots} if sheet else {}
    order = {slot_id: index for index, slot_id in enumerate(slots)}
    rows = session.execute(
        select(Part, Product.name, Product.maker, Product.item_number, Lot.text, Additive)
        .outerjoin(Product, (Product.site_id == Part.site_id) & (Product.id == Part.product_id))
        .outerjoin(Lot, (Lot.site_id == Part.site_id) & (Lot.id == Part.lot_id))
        .outerjoin(
            Additive,
            (Additive.site_id == Part.site_id)
            & (Additive.circuit_id == Part.circuit_id)
            & (Additive.part_id == Part.part_id),
        )
        .where(
            Part.site_id == circuit.site_id,
            Part.circuit_id == circuit.id,
            believed_at(Part, as_of_no),
        )
    ).all()
    highest: dict[str, int] = {}
    for part, *_ in rows:
        highest[part.slot] = max(part.ordinal, highest.get(part.slot, 1))
    found = [
        PartFacts(
            slot=part.slot,
            place=(
                slots[part.slot].name
                if part.slot in slots
                else OFF_THE_SHEET.get(part.slot, part.slot.replace("-", " "))
            ),
            ordinal=part.ordinal,
            count=slots[part.slot].count if part.slot in slots else highest[part.slot],
            kind=part.kind,
            state=PartState(part.state),
            known=part.known,
            name=given_as(additive) or name or "",
            maker=maker or "",
            item_number=item_number or "",
            lot=lot,
            serial=part.serial,
            expiry=part.expiry,
            product_id=part.product_id,
            lot_id=part.lot_id,
            from_=part.valid_from,
            until=part.valid_to,
            leaves=part.leaves,
            disputed=part.disputed,
        )
        for part, name, maker, item_number, lot, additive in rows
    ]
    return sorted(found, key=lambda p: (order.get(p.slot, len(order)), p.ordinal, p.from_))
