"""The circuits of an answer as they stood at its cut: phase, place, use-by."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import ColumnElement, Row, Select, select
from sqlalchemy.orm import InstrumentedAttribute, Session

from traceability.recall.cut import Cut
from traceability.recall.record import blocks
from traceability.storage.base import Link, believed_at
from traceability.storage.circuits import Circuit, CircuitPhase, CircuitPlace, Prime
from traceability.storage.site import Place


@dataclass(frozen=True, slots=True, kw_only=True)
class CircuitSeen:
    """A circuit as it stood at the number asked for."""

    id: UUID
    number: str
    circuit_type: str
    use_by: datetime | None
    phase: str
    phase_since: datetime | None
    place_id: UUID | None
    place: str


def circuits(session: Session, ids: Iterable[UUID], cut: Cut) -> dict[UUID, CircuitSeen]:
    """Return what is needed of these circuits, by id."""
    found: dict[UUID, CircuitSeen] = {}
    for block in blocks(list(ids)):
        found |= _block(session, block, cut)
    return found


def _block(session: Session, block: Sequence[UUID], cut: Cut) -> dict[UUID, CircuitSeen]:
    phases = _by_circuit(
        session,
        _open(
            CircuitPhase,
            block,
            cut,
            CircuitPhase.phase,
            CircuitPhase.valid_from,
        ),
    )
    places = _by_circuit(
        session,
        _open(CircuitPlace, block, cut, CircuitPlace.site_id, CircuitPlace.place_id),
    )
    primes = _by_circuit(session, _open(Prime, block, cut, Prime.use_by))
    # Read apart: joined, a database may begin at a place and read all that ever stood there.
    all_places = select(Place.site_id, Place.id, Place.name).where(Place.site_id.in_(cut.sites))
    names = {(each.site_id, each.id): each.name for each in session.execute(all_places)}
    rows = select(
        Circuit.id,
        Circuit.number,
        Circuit.circuit_type,
    ).where(Circuit.site_id.in_(cut.sites), Circuit.id.in_(block))
    found = {}
    for row in session.execute(rows):
        phase, place, prime = phases.get(row.id), places.get(row.id), primes.get(row.id)
        found[row.id] = CircuitSeen(
            id=row.id,
            number=row.number,
            circuit_type=row.circuit_type,
            use_by=prime.use_by if prime else None,
            phase=phase.phase if phase else "",
            phase_since=phase.valid_from if phase else None,
            place_id=place.place_id if place else None,
            place=names.get((place.site_id, place.place_id), "") if place else "",
        )
    return found


def _by_circuit(session: Session, rows: Select[Any]) -> dict[UUID, Row[Any]]:
    return {row.circuit_id: row for row in session.execute(rows)}


def _open(
    link: type[Link],
    block: Sequence[UUID],
    cut: Cut,
    *columns: ColumnElement[Any] | InstrumentedAttribute[Any],
) -> Select[Any]:
    circuit_id = link.circuit_id  # type: ignore[attr-defined]
    return (
        select(circuit_id, *columns)
        .where(
            link.site_id.in_(cut.sites),
            circuit_id.in_(block),
            link.valid_to.is_(None),
            believed_at(link, cut.number),
        )
        .order_by(link.recorded_no + 0, link.line)  # sorted by itself, not through the key
    )
