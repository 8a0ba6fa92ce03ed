"""Machines that served the circuits and runs of a trace, places, and who signed."""

from collections.abc import Iterable, Sequence
from typing import Any, Final
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.domain.trace import Link, Listed, Node, Sort, Sure
from traceability.recall.cut import Cut
from traceability.recall.record import blocks
from traceability.storage.base import believed_at
from traceability.storage.circuits import CircuitPlace, Signature
from traceability.storage.equipment import EquipmentState, EquipmentUse
from traceability.storage.people import Person
from traceability.storage.site import Place

MOST: Final = 40


def machines_beside(
    session: Session, circuit_ids: Sequence[UUID], run_ids: Sequence[UUID], cut: Cut
) -> tuple[Listed, list[Link]]:
    """Return the machines that served any of these, with the times of their use."""
    uses: list[EquipmentUse] = []
    for column, ids in ((EquipmentUse.circuit_id, circuit_ids), (EquipmentUse.run_id, run_ids)):
        for block in blocks(ids):
            rows = select(EquipmentUse).where(
                EquipmentUse.site_id.in_(cut.sites),
                column.in_(block),
                EquipmentUse.none_used.is_(False),
                believed_at(EquipmentUse, cut.number),
            )
            uses += session.scalars(rows)
    names = machine_names(session, {use.equipment_id for use in uses}, cut)
    nodes: dict[str, Node] = {}
    links: list[Link] = []
    for use in sorted(uses, key=lambda each: (each.valid_from, each.recorded_no, each.line)):
        node = machine_node(use, names)
        nodes[node.key] = node
        target = f"{Sort.RUN}:{use.run_id}" if use.run_id else f"{Sort.CIRCUIT}:{use.circuit_id}"
        links.append(
            Link(
                source=node.key,
                target=target,
                sure=Sure.POSSIBLE if use.disputed else Sure.SURE,
                start=use.valid_from,
                end=use.valid_to,
            )
        )
    return _listed(nodes.values()), links


def machine_node(use: EquipmentUse, names: dict[UUID, tuple[str, str]]) -> Node:
    """Return the node of the machine of a use, registered or not."""
    if use.equipment_id is not None:
        label, detail = names.get(use.equipment_id, (use.serial or "", use.kind))
        return Node(sort=Sort.MACHINE, id=str(use.equipment_id), label=label, detail=detail)
    return Node(
        sort=Sort.MACHINE,
        id=f"{use.kind}:{use.serial or ''}",
        label=use.serial or "serial not recorded",
        detail=use.kind,
    )


def machine_names(
    session: Session, ids: Iterable[UUID | None], cut: Cut
) -> dict[UUID, tuple[str, str]]:
    """Return asset number or serial, and kind with model, of machines as known at the cut."""
    found: dict[UUID, tuple[str, str]] = {}
    for block in blocks(sorted({each for each in ids if each is not None})):
        rows = select(EquipmentState).where(
            EquipmentState.site_id.in_(cut.sites),
            EquipmentState.equipment_id.in_(block),
            EquipmentState.valid_to.is_(None),
            believed_at(EquipmentState, cut.number),
        )
        for state in session.scalars(rows):
            label = state.asset_number or state.serial or "serial not recorded"
            also = f", serial {state.serial}" if state.asset_number and state.serial else ""
            found[state.equipment_id] = (label, f"{state.kind} {state.model}".strip() + also)
    return found


def places_beside(
    session: Session, circuit_ids: Sequence[UUID], cut: Cut
) -> tuple[Listed, list[Link]]:
    """Return where these circuits stood."""
    rows: list[Any] = []
    for block in blocks(circuit_ids):
        stood = select(
            CircuitPlace.circuit_id,
            CircuitPlace.place_id,
            CircuitPlace.valid_from,
            CircuitPlace.valid_to,
            CircuitPlace.disputed,
        ).where(
            CircuitPlace.site_id.in_(cut.sites),
            CircuitPlace.circuit_id.in_(block),
            believed_at(CircuitPlace, cut.number),
        )
        rows += session.execute(stood)
    names = place_names(session, cut)
    nodes = {
        row.place_id: Node(sort=Sort.PLACE, id=str(row.place_id), label=names.get(row.place_id, ""))
        for row in rows
    }
    links = [
        Link(
            source=nodes[row.place_id].key,
            target=f"{Sort.CIRCUIT}:{row.circuit_id}",
            sure=Sure.POSSIBLE if row.disputed else Sure.SURE,
            start=row.valid_from,
            end=row.valid_to,
        )
        for row in sorted(rows, key=lambda each: each.valid_from)
    ]
    return _listed(nodes.values()), links


def place_names(session: Session, cut: Cut) -> dict[UUID, str]:
    """Return the unit's places by key: a list that does not grow with the record."""
    rows = select(Place.id, Place.name).where(Place.site_id.in_(cut.sites))
    return {row.id: row.name for row in session.execute(rows)}


def people_beside(
    session: Session, circuit_ids: Sequence[UUID], cut: Cut
) -> tuple[Listed, list[Link]]:
    """Return who signed the primes of these circuits."""
    nodes: dict[UUID, Node] = {}
    links: list[Link] = []
    for block in blocks(circuit_ids):
        rows = (
            select(Signature, Person.name)
            .join(
                Person, (Person.site_id == Signature.site_id) & (Person.id == Signature.person_id)
            )
            .where(
                Signature.site_id.in_(cut.sites),
                Signature.circuit_id.in_(block),
                believed_at(Signature, cut.number),
            )
            .order_by(Signature.valid_from)
        )
        for row, name in session.execute(rows):
            node = Node(sort=Sort.PERSON, id=str(row.person_id), label=name)
            nodes[row.person_id] = node
            links.append(
                Link(
                    source=node.key,
                    target=f"{Sort.CIRCUIT}:{row.circuit_id}",
                    start=row.valid_from,
                    end=row.valid_from,
                )
            )
    return _listed(nodes.values()), links


def _listed(nodes: Iterable[Node]) -> Listed:
    found = sorted(nodes, key=lambda node: (node.detail, node.label, node.id))
    return Listed(nodes=tuple(found[:MOST]), total=len(found))
