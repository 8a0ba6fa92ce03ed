"""Circuits, runs, machines, pieces, people and places that a text names."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final
from uuid import UUID

from sqlalchemy import ColumnElement, func, or_, select
from sqlalchemy.orm import InstrumentedAttribute, Session

from traceability.domain.keys import unit_key
from traceability.recall.question import ProductNamed, named
from traceability.recall.record import blocks
from traceability.storage.circuits import Circuit, Part
from traceability.storage.equipment import EquipmentState, EquipmentUse
from traceability.storage.items import Product
from traceability.storage.people import Person
from traceability.storage.run_extras import RunPart
from traceability.storage.runs import Run
from traceability.storage.site import Place, Site

MOST: Final = 40
"""Machines, people and places that are offered each."""

SHORTEST_NAME: Final = 2
"""Letters with which a part of a name is looked for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Meaning:
    """One thing that the text may be, as an address names it."""

    sort: str
    """Of `domain.trace.Sort`."""
    text: str
    """Its number, lot, serial, name or days; never a patient's."""
    of: str = ""
    """Id of the product, machine, place or person; kind of a machine that is in no register."""
    detail: str = ""
    alike: bool = False
    """Only like what was asked; a person compares."""
    seen: bool = True
    """False: nothing here ever named it."""


def product_of(
    product_id: UUID,
    sort: str,
    text: str,
    product: ProductNamed,
    *,
    alike: bool = False,
    seen: bool = True,
) -> Meaning:
    """Return a product, or a lot or piece of it, as a meaning."""
    item = f"item {product.item_number}" if product.item_number else ""
    words = [product.name if sort != "product" else "", product.maker, item]
    if not product.known:
        words = [f"code {product.identifier}, a product not known here"]
    return Meaning(
        sort=sort,
        text=text,
        of=str(product_id),
        detail=", ".join(word for word in words if word),
        alike=alike,
        seen=seen,
    )


def numbers(session: Session, text: str) -> Iterator[Meaning]:
    """Yield the circuit and the run of a number, as printed on tags and pages."""
    sites = _sites(session)
    circuits = select(Circuit).where(
        Circuit.site_id.in_(sites), Circuit.number.in_([text, text.upper()])
    )
    for circuit in session.scalars(circuits):
        yield Meaning(sort="circuit", text=circuit.number, detail=circuit.circuit_type)
    for run in session.scalars(
        select(Run).where(Run.site_id.in_(sites), Run.number.in_([text, text.upper()]))
    ):
        yield Meaning(sort="run", text=run.number)


def _sites(session: Session) -> list[UUID]:
    return list(session.scalars(select(Site.site_id)))


def machines(session: Session, text: str) -> Iterator[Meaning]:
    """Yield machines of that asset number or serial, also those that are in no register."""
    state, sites = EquipmentState, _sites(session)
    rows = (
        select(state)
        .where(
            state.site_id.in_(sites),
            or_(state.asset_number == text.upper(), state.serial == text),
            state.superseded_no.is_(None),
        )
        .order_by(state.valid_from.desc(), state.recorded_no.desc())
        .limit(MOST)
    )
    shown: set[UUID] = set()
    for row in session.scalars(rows):
        if row.equipment_id not in shown:
            shown.add(row.equipment_id)
            serial = f"serial {row.serial}" if row.serial else ""
            yield Meaning(
                sort="machine",
                text=row.asset_number or row.serial,
                of=str(row.equipment_id),
                detail=", ".join(word for word in (row.kind, row.model, serial) if word),
            )
    uses = select(EquipmentUse.kind).where(
        EquipmentUse.site_id.in_(sites),
        EquipmentUse.serial == text,
        EquipmentUse.equipment_id.is_(None),
        EquipmentUse.superseded_no.is_(None),
    )
    for kind in sorted(set(session.scalars(uses)))[:MOST]:
        yield Meaning(sort="machine", text=text, of=kind, detail=f"{kind}, not in the register")


def units(session: Session, text: str) -> Iterator[Meaning]:
    """Yield pieces with that very serial: asked product by product, for their key holds both."""
    products = {
        unit_key(product.id, text): product
        for product in session.scalars(select(Product).order_by(Product.name, Product.id))
    }
    held: set[UUID] = set()
    for block in blocks(sorted(products)):
        for column in (Part.unit_id, RunPart.unit_id):
            held |= {key for key in session.scalars(select(column).where(column.in_(block))) if key}
    for key, product in products.items():
        if key in held:
            yield product_of(product.id, "unit", text, named(product))


def people(session: Session, text: str = "", *, id_: UUID | None = None) -> Iterator[Meaning]:
    """Yield the people whose name holds the text, or the one of that key."""
    if id_ is None and len(text) < SHORTEST_NAME:
        return
    rows = select(Person).where(Person.site_id.in_(_sites(session)))
    rows = rows.where(Person.id == id_) if id_ else rows.where(_holds(Person.name, text))
    for person in session.scalars(rows.order_by(Person.name, Person.id).limit(MOST)):
        left = "" if person.active else "no longer here"
        yield Meaning(sort="person", text=person.name, of=str(person.id), detail=left)


def places(session: Session, text: str) -> Iterator[Meaning]:
    """Yield the places whose name holds the text, or whose code it is."""
    if len(text) < SHORTEST_NAME:
        return
    rows = (
        select(Place)
        .where(
            Place.site_id.in_(_sites(session)),
            or_(func.upper(Place.code) == text.upper(), _holds(Place.name, text)),
        )
        .order_by(Place.sort, Place.name, Place.id)
        .limit(MOST)
    )
    for place in session.scalars(rows):
        yield place_meant(place)


def place_meant(place: Place) -> Meaning:
    """Return a place as a meaning."""
    return Meaning(sort="place", text=place.name, of=str(place.id), detail=place.kind)


def _holds(column: InstrumentedAttribute[str], text: str) -> ColumnElement[bool]:
    like = text.lower().replace("\\", "\\\\").replace("%", "\\%").replace("_", "\\_")
    return func.lower(column).like(f"%{like}%", escape="\\")
