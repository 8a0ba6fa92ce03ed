"""The register of machines, and one machine: what it served, where it stood, who was there too."""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.domain.spans import Span, overlap, span
from traceability.reads.machines import MachineFacts, machine_states
from traceability.storage.base import believed_at
from traceability.storage.circuits import Circuit, CircuitPlace
from traceability.storage.equipment import EquipmentPlace, EquipmentState, EquipmentUse
from traceability.storage.runs import CircuitOnRun, Run
from traceability.storage.site import Place


@dataclass(frozen=True, slots=True, kw_only=True)
class ServedFacts:
    """A run or circuit that a machine served, for a time."""

    run: str
    circuit: str
    """Number of the circuit it was recorded on, or that was on the run meanwhile."""
    from_: datetime
    until: datetime | None
    disputed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class BesideFacts:
    """Who lay, or what stood, in the same place meanwhile. Never a patient's text."""

    place: str
    circuit: str
    run: str
    """Empty: the circuit was on no run meanwhile."""
    from_: datetime
    until: datetime | None


@dataclass(frozen=True, slots=True, kw_only=True)
class MachineLife:
    """All that is known of one machine."""

    now: MachineFacts
    before: tuple[MachineFacts, ...]
    """What was known of it earlier, newest first: software, service."""
    served: tuple[ServedFacts, ...]
    places: tuple[tuple[str, datetime, datetime | None], ...]
    beside: tuple[BesideFacts, ...]


def machine_life(session: Session, site_id: UUID, equipment_id: UUID) -> MachineLife | None:
    """Return one machine, or None."""
    states = machine_states(session, site_id, EquipmentState.equipment_id == equipment_id)
    if not states:
        return None
    stays = _stays(session, site_id, equipment_id)
    return MachineLife(
        now=states[-1],
        before=tuple(reversed(states[:-1])),
        served=tuple(_served(session, site_id, equipment_id)),
        places=tuple((name, stay.start, stay.end) for _, name, stay in stays),
        beside=tuple(_beside(session, site_id, stays)),
    )


def _stays(session: Session, site_id: UUID, equipment_id: UUID) -> list[tuple[UUID, str, Span]]:
    rows = session.execute(
        select(
            EquipmentPlace.place_id, Place.name, EquipmentPlace.valid_from, EquipmentPlace.valid_to
        )
        .join(
            Place,
            (Place.site_id == EquipmentPlace.site_id) & (Place.id == EquipmentPlace.place_id),
        )
        .where(
            EquipmentPlace.site_id == site_id,
            EquipmentPlace.equipment_id == equipment_id,
            believed_at(EquipmentPlace, None),
        )
        .order_by(EquipmentPlace.valid_from, EquipmentPlace.recorded_no)
    )
    stays = ((row.place_id, row.name, span(row.valid_from, row.valid_to)) for row in rows)
    return [(place_id, name, stay) for place_id, name, stay in stays if stay is not None]


def _served(session: Session, site_id: UUID, equipment_id: UUID) -> list[ServedFacts]:
    rows = session.scalars(
        select(EquipmentUse)
        .where(
            EquipmentUse.site_id == site_id,
            EquipmentUse.equipment_id == equipment_id,
            believed_at(EquipmentUse, None),
        )
        .order_by(EquipmentUse.recorded_no, EquipmentUse.line)
    ).all()
    found: list[ServedFacts] = []
    for use in rows:
        time = span(use.valid_from, use.valid_to)
        met = [] if time is None else _links(session, use, time)
        for number, run, both in met:
            found.append(
                ServedFacts(
                    run=run,
                    circuit=number,
                    from_=both.start,
                    until=both.end,
                    disputed=use.disputed,
                )
            )
        if not met:
            found.append(
                ServedFacts(
                    run=_number(session, Run, site_id, use.run_id),
                    circuit=_number(session, Circuit, site_id, use.circuit_id),
                    from_=use.valid_from,
                    until=use.valid_to,
                    disputed=use.disputed,
                )
            )
    return sorted(found, key=lambda each: each.from_, reverse=True)


def _links(session: Session, use: EquipmentUse, time: Span) -> list[tuple[str, str, Span]]:
    """Return the circuits and runs that a use met, by their dates."""
    link = CircuitOnRun
    of = link.run_id == use.run_id if use.run_id else link.circuit_id == use.circuit_id
    rows = session.execute(
        select(Circuit.number, Run.number, link.valid_from, link.valid_to)
        .join(Circuit, (Circuit.site_id == link.site_id) & (Circuit.id == link.circuit_id))
        .join(Run, (Run.site_id == link.site_id) & (Run.id == link.run_id))
        .where(link.site_id == use.site_id, of, believed_at(link, None))
        .order_by(link.recorded_no, link.line)
    )
    found = []
    for number, run, start, end in rows:
        stay = span(start, end)
        both = stay and overlap(stay, time)
        if both is not None:
            found.append((number, run, both))
    return found


def _number(
    session: Session, table: type[Run] | type[Circuit], site_id: UUID, key: UUID | None
) -> str:
    found = key and session.get(table, (site_id, key))
    return found.number if isinstance(found, (Run, Circuit)) else ""


def _beside(
    session: Session, site_id: UUID, stays: list[tuple[UUID, str, Span]]
) -> list[BesideFacts]:
    """Return the circuits that stood, and the runs that lay, where the machine stood."""
    found: list[BesideFacts] = []
    for place_id, name, stay in stays:
        rows = session.execute(
            select(CircuitPlace, Circuit.number)
            .join(
                Circuit,
                (Circuit.site_id == CircuitPlace.site_id) & (Circuit.id == CircuitPlace.circuit_id),
            )
            .where(
                CircuitPlace.site_id == site_id,
                CircuitPlace.place_id == place_id,
                believed_at(CircuitPlace, None),
            )
            .order_by(CircuitPlace.valid_from, CircuitPlace.recorded_no)
        )
        for there, number in rows:
            time = span(there.valid_from, there.valid_to)
            both = time and overlap(time, stay)
            if both is not None:
                run = _run_then(session, site_id, there.circuit_id, both)
                found.append(
                    BesideFacts(
                        place=name, circuit=number, run=run, from_=both.start, until=both.end
                    )
                )
    return sorted(found, key=lambda each: each.from_, reverse=True)


def _run_then(session: Session, site_id: UUID, circuit_id: UUID, time: Span) -> str:
    rows = session.execute(
        select(Run.number, CircuitOnRun.valid_from, CircuitOnRun.valid_to)
        .join(Run, (Run.site_id == CircuitOnRun.site_id) & (Run.id == CircuitOnRun.run_id))
        .where(
            CircuitOnRun.site_id == site_id,
            CircuitOnRun.circuit_id == circuit_id,
            believed_at(CircuitOnRun, None),
        )
        .order_by(CircuitOnRun.recorded_no)
    )
    met = [
        number
        for number, start, end in rows
        if (stay := span(start, end)) is not None and overlap(stay, time) is not None
    ]
    return ", ".join(dict.fromkeys(met))
