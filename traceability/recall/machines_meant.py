"""The machines of the register that a clause may mean, and how far a reference means one.

The register names makers and models in words, a notice may name a code: where too little is
recorded to tell, a machine is neither meant for certain nor left out.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.domain.notice_scope import ProductRef
from traceability.domain.scopes import Match, alike, in_serial_range
from traceability.domain.shelves.scope import Asked, Clause
from traceability.recall.cut import Cut
from traceability.storage.base import believed_at
from traceability.storage.equipment import EquipmentState

__all__ = ["Machine", "fits", "machines_of", "may_be"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Machine:
    """A machine as the register, or a use of one that is not in it, describes it."""

    id: UUID
    kind: str
    product_id: UUID | None
    maker: str
    model: str
    serial: str | None


def machines_of(session: Session, kinds: set[str], cut: Cut) -> Iterator[Machine]:
    """Yield the machines of these kinds as they were known at the cut."""
    rows = select(EquipmentState).where(
        EquipmentState.site_id.in_(cut.sites),
        EquipmentState.kind.in_(sorted(kinds)),
        EquipmentState.valid_to.is_(None),
        believed_at(EquipmentState, cut.number),
    )
    for row in session.scalars(rows.order_by(EquipmentState.recorded_no)):
        yield Machine(
            id=row.equipment_id,
            kind=row.kind,
            product_id=row.product_id,
            maker=row.maker,
            model=row.model,
            serial=row.serial or None,
        )


def fits(machine: Machine, ref: ProductRef, products: set[UUID]) -> bool | None:
    """Tell whether a reference means a machine; None: too little is recorded of it."""
    if machine.product_id is not None and products:
        return machine.product_id in products
    if ref.kind and machine.kind != ref.kind:
        return False
    if not ref.maker:
        return True if not products else None
    if not machine.maker:
        return None
    if machine.maker.casefold() != ref.maker.casefold():
        return False
    if not ref.item_number:
        return True
    if not machine.model:
        return None
    return machine.model.casefold() == ref.item_number.casefold()


def may_be(clause: Clause, serial: str | None) -> bool:
    """Return whether the serial tests of a clause let a machine through."""
    if serial is None:
        return True
    for test in clause.tests:
        match test.asked:
            case Asked.SERIAL_LIST if not test.negated:
                found = {alike(serial, text) for text in test.texts}
            case Asked.SERIALS if not test.negated:
                found = {in_serial_range(serial, test.first, test.last)}
            case _:
                continue
        if found == {Match.OUT}:
            return False
    return True
