"""The register of machines: what is known of each, where it stands and what it serves now."""

from collections.abc import Set
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from sqlalchemy import ColumnElement, select
from sqlalchemy.orm import Session

from traceability.storage.base import believed_at
from traceability.storage.circuits import Circuit
from traceability.storage.equipment import EquipmentPlace, EquipmentState, EquipmentUse
from traceability.storage.items import Product
from traceability.storage.runs import Run
from traceability.storage.site import Place


@dataclass(frozen=True, slots=True, kw_only=True)
class MachineFacts:
    """A machine as it is known now, or was for some time."""

    id: UUID
    kind: str
    product_id: UUID | None
    product: str
    maker: str
    model: str
    serial: str
    asset_number: str
    software: str
    made: str
    owner: str
    serviced_on: date | None
    disinfected_on: date | None
    active: bool
    from_: datetime
    until: datetime | None
    place: str = ""
    """Where it stands now."""
    serves: str = ""
    """ "R-0001" or "C-0001": what it serves now; empty: nothing."""


def machines(session: Session, site_id: UUID) -> list[MachineFacts]:
    """Return the register: those in use first, by kind and number."""
    found = machine_states(session, site_id, EquipmentState.valid_to.is_(None))
    return sorted(found, key=lambda m: (not m.active, m.kind, m.asset_number, m.serial))


def machine_states(
    session: Session, site_id: UUID, where: ColumnElement[bool]
) -> list[MachineFacts]:
    """Return what was known of these machines, in the order of time."""
    rows = session.execute(
        select(EquipmentState, Product.name)
        .outerjoin(
            Product,
            (Product.site_id == EquipmentState.site_id) & (Product.id == EquipmentState.product_id),
        )
        .where(EquipmentState.site_id == site_id, where, believed_at(EquipmentState, None))
        .order_by(EquipmentState.valid_from, EquipmentState.recorded_no, EquipmentState.line)
    ).all()
    ids = {row.equipment_id for row, _ in rows}
    places, serves = _places_now(session, site_id, ids), _serve_now(session, site_id, ids)
    return [
        MachineFacts(
            id=row.equipment_id,
            kind=row.kind,
            product_id=row.product_id,
            product=product or "",
            maker=row.maker,
            model=row.model,
            serial=row.serial,
            asset_number=row.asset_number,
            software=row.software,
            made=row.made,
            owner=row.owner,
            serviced_on=row.serviced_on,
            disinfected_on=row.disinfected_on,
            active=row.active,
            from_=row.valid_from,
            until=row.valid_to,
            place=places.get(row.equipment_id, ""),
            serves=", ".join(serves.get(row.equipment_id, {})),
        )
        for row, product in rows
    ]


def _places_now(session: Session, site_id: UUID, ids: Set[UUID]) -> dict[UUID, str]:
    rows = session.execute(
        select(EquipmentPlace.equipment_id, Place.name)
        .join(
            Place,
            (Place.site_id == EquipmentPlace.site_id) & (Place.id == EquipmentPlace.place_id),
        )
        .where(
            EquipmentPlace.site_id == site_id,
            EquipmentPlace.equipment_id.in_(ids),
            EquipmentPlace.valid_to.is_(None),
            EquipmentPlace.superseded_no.is_(None),
        )
    )
    return {row.equipment_id: row.name for row in rows}


def _serve_now(session: Session, site_id: UUID, ids: Set[UUID]) -> dict[UUID, dict[str, None]]:
    """Return the numbers of the runs and circuits that each serves, in the order recorded."""
    use = EquipmentUse
    rows = session.execute(
        select(use.equipment_id, Run.number, Circuit.number)
        .outerjoin(Run, (Run.site_id == use.site_id) & (Run.id == use.run_id))
        .outerjoin(Circuit, (Circuit.site_id == use.site_id) & (Circuit.id == use.circuit_id))
        .where(
            use.site_id == site_id,
            use.equipment_id.in_(ids),
            use.valid_to.is_(None),
            use.superseded_no.is_(None),
        )
        .order_by(use.recorded_no, use.line)
    )
    found: dict[UUID, dict[str, None]] = {}
    for equipment_id, run, circuit in rows:
        if equipment_id is not None:
            found.setdefault(equipment_id, {})[run or circuit or ""] = None
    return found
