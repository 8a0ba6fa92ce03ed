"""How a circuit begins, wherever it comes from: its row, its number, its first phase and place."""

from uuid import UUID

from sqlalchemy.orm import Session

from traceability.domain.circuits import Phase
from traceability.domain.events import Recorded
from traceability.storage.circuits import Circuit, CircuitPhase, CircuitPlace
from traceability.storage.projections.rows import add_link
from traceability.storage.site import Series


def begin_circuit(
    session: Session, event: Recorded, phase: Phase, place_id: UUID | None, **columns: object
) -> None:
    """Add a circuit with its number and its first phase; None: it stands nowhere yet."""
    circuit_id, at = event.key("circuit"), event.happened_at
    add_circuit(session, event, **columns)
    add_link(session, CircuitPhase, event, 0, at, circuit_id=circuit_id, phase=phase, reason="")
    if place_id is not None:
        add_link(session, CircuitPlace, event, 0, at, circuit_id=circuit_id, place_id=place_id)


def add_circuit(session: Session, event: Recorded, **columns: object) -> None:
    """Add a circuit that begins at the event's moment, with its number and nothing else."""
    session.add(
        Circuit(
            site_id=event.site_id,
            id=event.key("circuit"),
            number=event.text("number"),
            begun_at=event.happened_at,
            begun_no=event.number,
            **columns,
        )
    )
    session.flush()
    count_up(session, event)


def count_up(session: Session, event: Recorded, number: str = "") -> None:
    """Remember the number that was given out; one from a sheet may be lower than the last."""
    letter, _, digits = (number or event.text("number")).partition("-")
    series = session.get(Series, (event.site_id, letter))
    if series is None:
        session.add(Series(site_id=event.site_id, letter=letter, last=int(digits)))
        session.flush()
    else:
        series.last = max(series.last, int(digits))
