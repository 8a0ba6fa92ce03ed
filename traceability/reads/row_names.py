"""What people call the rows of an answer: circuit numbers, runs, lots and places, machines.

Looked up for the rows that are shown, a block of ids at a time. Never a patient's text.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final, TypeVar
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.domain.known_rows import KnownRow, Subject, key_of
from traceability.storage.base import Entity
from traceability.storage.circuits import Circuit, CircuitPlace
from traceability.storage.equipment import EquipmentState
from traceability.storage.holds import Hold
from traceability.storage.items import Lot, Product
from traceability.storage.notice_lookup import AT_ONCE
from traceability.storage.runs import Run
from traceability.storage.site import Place

E = TypeVar("E", bound=Entity)

NOWHERE: Final = "place not said"


@dataclass(frozen=True, slots=True, kw_only=True)
class RowName:
    """What a row is called, where it is, and where its page stands."""

    subject: Subject
    name: str
    """ "C-0419", "Lot TA-0701", "Heater-cooler HC-1", "Run R-0231"."""
    detail: str
    """Product and maker, model; empty where the name says it all."""
    place: str
    place_id: UUID | None
    address: str
    on_hold: bool
    lot: str = ""
    runs: tuple[str, ...] = ()
    circuits: tuple[str, ...] = ()


def row_names(session: Session, site_id: UUID, rows: Iterable[KnownRow]) -> dict[str, RowName]:
    """Return the names of these rows by their keys."""
    shown = {row.key: row for row in rows}
    return names_of_keys(session, site_id, list(shown), shown)


def names_of_keys(
    session: Session, site_id: UUID, keys: Sequence[str], rows: dict[str, KnownRow] | None = None
) -> dict[str, RowName]:
    """Return names by keys, also of rows that are in no answer any more."""
    rows = rows or {}
    parsed = {text: key_of(text) for text in keys}
    by: dict[Subject, set[UUID]] = {}
    for key in parsed.values():
        by.setdefault(key.subject, set()).update(each for each in key.ids if each)
    met = [row for text in keys if (row := rows.get(text))]
    circuits = _by_id(
        session,
        site_id,
        Circuit,
        by.get(Subject.CIRCUIT, set()) | {each for row in met for each in row.circuits},
    )
    runs = _by_id(
        session,
        site_id,
        Run,
        by.get(Subject.RUN, set()) | {each for row in met for each in row.runs},
    )
    stock = by.get(Subject.STOCK, set())
    products = _by_id(session, site_id, Product, stock)
    lots = _by_id(session, site_id, Lot, stock)
    places = _by_id(session, site_id, Place, stock)
    stands = _stands(session, site_id, by.get(Subject.CIRCUIT, set()))
    machines = _machines(session, site_id, by.get(Subject.MACHINE, set()))
    holds = open_holds(session, site_id, stock | by.get(Subject.CIRCUIT, set()))
    found: dict[str, RowName] = {}
    for text, key in parsed.items():
        row, first = rows.get(text), key.ids[0]
        with_runs = tuple(runs[each].number for each in (row.runs if row else ()) if each in runs)
        made: dict[str, Any] = {"detail": "", "place": "", "place_id": None, "address": ""}
        match key.subject:
            case Subject.CIRCUIT:
                circuit = circuits.get(first)
                made["name"] = circuit.number if circuit else "circuit"
                made["detail"] = circuit.circuit_type if circuit else ""
                made["address"] = f"/circuits/{circuit.number}" if circuit else ""
                made["place_id"], made["place"] = stands.get(first, (None, ""))
            case Subject.STOCK:
                product, lot, place = (
                    products.get(first),
                    lots.get(key.ids[1]),
                    places.get(key.ids[2]),
                )
                made["lot"] = lot.text if lot else ""
                made["name"] = f"Lot {lot.text}" if lot else "No lot"
                made["detail"] = _product(product)
                made["place"] = place.name if place else NOWHERE
                made["place_id"] = key.ids[2]
                made["address"] = f"/stock/{first}" if product else ""
            case Subject.MACHINE:
                machine = machines.get(first)
                made["name"] = _machine(machine)
                made["detail"] = f"{machine.model}, {machine.maker}" if machine else ""
                made["address"] = f"/equipment/{first}"
            case Subject.RUN | Subject.PATIENT:
                made["name"] = ", ".join(with_runs) or "Run"
                made["address"] = f"/runs/{with_runs[0]}" if with_runs else ""
        found[text] = RowName(
            subject=key.subject,
            on_hold=any(each in holds for each in key.ids[:2]),
            runs=with_runs,
            circuits=tuple(
                circuits[each].number for each in (row.circuits if row else ()) if each in circuits
            ),
            **made,
        )
    return found


def _product(product: Product | None) -> str:
    if product is None:
        return ""
    called = product.substance or product.name
    return ", ".join(word for word in (called, product.maker) if word)


def _machine(machine: EquipmentState | None) -> str:
    if machine is None:
        return "Machine"
    called = machine.kind.replace("-", " ", 1) if machine.kind != "heater-cooler" else machine.kind
    return f"{called.capitalize()} {machine.asset_number or machine.serial}".strip()


def _by_id(session: Session, site_id: UUID, table: type[E], ids: set[UUID]) -> dict[UUID | None, E]:
    found: dict[UUID | None, E] = {}
    wanted = sorted(ids)
    for start in range(0, len(wanted), AT_ONCE):
        rows = select(table).where(
            table.site_id == site_id, table.id.in_(wanted[start : start + AT_ONCE])
        )
        found |= {row.id: row for row in session.scalars(rows)}
    return found


def _stands(
    session: Session, site_id: UUID, ids: set[UUID]
) -> dict[UUID | None, tuple[UUID | None, str]]:
    found: dict[UUID | None, tuple[UUID | None, str]] = {}
    wanted = sorted(ids)
    for start in range(0, len(wanted), AT_ONCE):
        rows = session.execute(
            select(CircuitPlace.circuit_id, Place.id, Place.name)
            .join(
                Place,
                (Place.site_id == CircuitPlace.site_id) & (Place.id == CircuitPlace.place_id),
            )
            .where(
                CircuitPlace.site_id == site_id,
                CircuitPlace.circuit_id.in_(wanted[start : start + AT_ONCE]),
                CircuitPlace.superseded_no.is_(None),
                CircuitPlace.valid_to.is_(None),
            )
        )
        found |= {circuit_id: (place_id, name) for circuit_id, place_id, name in rows}
    return found


def _machines(session: Session, site_id: UUID, ids: set[UUID]) -> dict[Any, EquipmentState]:
    rows = select(EquipmentState).where(
        EquipmentState.site_id == site_id,
        EquipmentState.equipment_id.in_(sorted(ids)),
        EquipmentState.superseded_no.is_(None),
        EquipmentState.valid_to.is_(None),
    )
    return {row.equipment_id: row for row in session.scalars(rows)} if ids else {}


def open_holds(session: Session, site_id: UUID, ids: set[UUID]) -> set[UUID]:
    """Return which of these circuits, lots or products are on hold."""
    found: set[UUID] = set()
    wanted = sorted(ids)
    for start in range(0, len(wanted), AT_ONCE):
        rows = select(Hold.subject_id).where(
            Hold.site_id == site_id,
            Hold.subject_id.in_(wanted[start : start + AT_ONCE]),
            Hold.superseded_no.is_(None),
            Hold.valid_to.is_(None),
        )
        found |= set(session.scalars(rows))
    return found
