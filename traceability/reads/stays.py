"""Where a circuit stood, which phases it went through, and the runs it served."""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.domain.circuits import Phase
from traceability.storage.base import believed_at
from traceability.storage.circuits import Circuit, CircuitPhase, CircuitPlace
from traceability.storage.runs import CircuitOnRun, Run
from traceability.storage.site import Place


@dataclass(frozen=True, slots=True, kw_only=True)
class OnRunFacts:
    """The circuit's time with a run."""

    run_id: UUID
    run: str
    taken_at: datetime
    flow_from: datetime | None
    until: datetime | None
    disputed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class StayFacts:
    """Where it stood, or which phase it was in, and for how long."""

    name: str
    from_: datetime
    until: datetime | None
    reason: str = ""


def runs_of(session: Session, circuit: Circuit, as_of_no: int | None = None) -> list[OnRunFacts]:
    """Return the circuit's times with runs, oldest first; disputed claims too."""
    link = CircuitOnRun
    rows = session.execute(
        select(link, Run.number)
        .join(Run, (Run.site_id == link.site_id) & (Run.id == link.run_id))
        .where(
            link.site_id == circuit.site_id,
            link.circuit_id == circuit.id,
            believed_at(link, as_of_no),
        )
    )
    # Sorted here: by time, SQLite would pass over all runs of the site, for their order.
    in_order = sorted(rows, key=lambda row: (row[0].valid_from, row[0].recorded_no))
    return [
        OnRunFacts(
            run_id=row.run_id,
            run=number,
            taken_at=row.valid_from,
            flow_from=row.flow_from,
            until=row.valid_to,
            disputed=row.disputed,
        )
        for row, number in in_order
    ]


def stays_of(
    session: Session, circuit: Circuit, as_of_no: int | None = None
) -> list[tuple[UUID, StayFacts]]:
    """Return the places it stood in, each with its id, oldest first."""
    rows = session.execute(
        select(CircuitPlace, Place.name)
        .join(Place, (Place.site_id == CircuitPlace.site_id) & (Place.id == CircuitPlace.place_id))
        .where(
            CircuitPlace.site_id == circuit.site_id,
            CircuitPlace.circuit_id == circuit.id,
            believed_at(CircuitPlace, as_of_no),
        )
        .order_by(CircuitPlace.valid_from, CircuitPlace.recorded_no)
    )
    return [
        (row.place_id, StayFacts(name=name, from_=row.valid_from, until=row.valid_to))
        for row, name in rows
    ]


def phases_of(session: Session, circuit: Circuit, as_of_no: int | None = None) -> list[StayFacts]:
    """Return the phases it went through, oldest first."""
    rows = session.scalars(
        select(CircuitPhase)
        .where(
            CircuitPhase.site_id == circuit.site_id,
            CircuitPhase.circuit_id == circuit.id,
            believed_at(CircuitPhase, as_of_no),
        )
        .order_by(CircuitPhase.valid_from, CircuitPhase.recorded_no)
    )
    return [
        StayFacts(
            name=Phase(row.phase).value, from_=row.valid_from, until=row.valid_to, reason=row.reason
        )
        for row in rows
    ]
