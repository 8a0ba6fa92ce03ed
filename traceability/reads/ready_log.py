"""When circuits stood ready at the places that want one: the log behind re-prime clock and page."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Final
from uuid import UUID

from sqlalchemy import Select, or_, select
from sqlalchemy.orm import Session

from traceability.domain.circuits import SIGNATURES_NEEDED, Phase
from traceability.domain.parts import PartState
from traceability.domain.shelf_checks import Look, not_right
from traceability.domain.spans import Span, join, meet, span, without
from traceability.reads.lists import PlaceFacts
from traceability.storage.circuits import (
    Circuit,
    CircuitPhase,
    CircuitPlace,
    Part,
    Prime,
    Signature,
)
from traceability.storage.holds import Hold
from traceability.storage.shelf import ShelfCheck

__all__ = ["AT_ONCE", "LOOK_BACK", "ready_spans", "stood_lately", "stood_since"]

LOOK_BACK: Final = 30
"""How many stays at a place are looked at; the last ready one is nearly always the newest."""
AT_ONCE: Final = 500
"""Circuits asked for in one statement; SQLite takes 32,766 values."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stay:
    """One circuit's time at one place."""

    circuit_id: UUID
    place_id: UUID
    time: Span


def stood_lately(session: Session, site_id: UUID, place_id: UUID) -> list[Stay]:
    """Return the newest stays at one place."""
    rows = _stays(site_id, [place_id])
    return _read_stays(session, rows.order_by(CircuitPlace.valid_from.desc()).limit(LOOK_BACK))


def stood_since(
    session: Session, site_id: UUID, place_ids: Sequence[UUID], since: datetime
) -> list[Stay]:
    """Return the stays at these places that had not ended at `since`."""
    ended_later = or_(CircuitPlace.valid_to.is_(None), CircuitPlace.valid_to > since)
    return _read_stays(session, _stays(site_id, place_ids).where(ended_later))


def _stays(site_id: UUID, place_ids: Sequence[UUID]) -> Select[Any]:
    rows: Any = select(
        CircuitPlace.circuit_id,
        CircuitPlace.place_id,
        CircuitPlace.valid_from,
        CircuitPlace.valid_to,
    ).where(
        CircuitPlace.site_id == site_id,
        CircuitPlace.place_id.in_(place_ids),
        CircuitPlace.superseded_no.is_(None),
    )
    found: Select[Any] = rows
    return found


def _read_stays(session: Session, rows: Select[Any]) -> list[Stay]:
    found = []
    for row in session.execute(rows):
        time = span(row.valid_from, row.valid_to)
        if time is not None:
            found.append(Stay(circuit_id=row.circuit_id, place_id=row.place_id, time=time))
    return found


@dataclass(slots=True)
class _Known:
    """What decides when one circuit was ready."""

    circuit_type: str = ""
    use_by: datetime | None = None
    ended: datetime | None = None
    signed: dict[UUID, datetime] = field(default_factory=dict)
    primed: list[Span] = field(default_factory=list)
    holes: list[Span] = field(default_factory=list)
    looks: list[Look] = field(default_factory=list)


def ready_spans(
    session: Session,
    site_id: UUID,
    stays: Sequence[Stay],
    places: Iterable[PlaceFacts],
    until: datetime,
) -> dict[UUID, tuple[Span, ...]]:
    """Return when each circuit stood ready at each place, one span for each stretch; by place.

    Ready by the same rule as now: primed, signed by two people, in date with the time that the
    place wants left, of a right type, free, all needed parts in, nothing found wrong. What a place
    wants is what it wants today. Nothing is known after `until`.
    """
    known = _known(session, site_id, {stay.circuit_id for stay in stays})
    wants = {place.id: place for place in places}
    found: dict[UUID, list[Span]] = defaultdict(list)
    for stay in stays:
        one, place = known[stay.circuit_id], wants[stay.place_id]
        found[place.id] += _ready(one, place, stay.time, until)
    return {place_id: tuple(spans) for place_id, spans in found.items()}


def _ready(one: _Known, place: PlaceFacts, stay: Span, until: datetime) -> Iterator[Span]:
    wrong_type = bool(place.accepts) and one.circuit_type not in place.accepts
    signed = sorted(one.signed.values())
    if wrong_type or one.use_by is None or one.ended is None or len(signed) < SIGNATURES_NEEDED:
        return
    begins = max(signed[SIGNATURES_NEEDED - 1], one.ended)
    good = span(begins, min(one.use_by - place.least_left, until))
    if good is not None:
        there = meet(meet([stay], one.primed), [good])
        yield from without(there, [*one.holes, *not_right(one.looks)])


def _known(session: Session, site_id: UUID, ids: set[UUID]) -> Mapping[UUID, _Known]:
    known: dict[UUID, _Known] = defaultdict(_Known)
    ordered = sorted(ids)
    for first in range(0, len(ordered), AT_ONCE):
        _read(session, site_id, ordered[first : first + AT_ONCE], known)
    return known


def _read(
    session: Session, site_id: UUID, ids: Sequence[UUID], known: Mapping[UUID, _Known]
) -> None:
    circuits = select(Circuit.id, Circuit.circuit_type).where(
        Circuit.site_id == site_id, Circuit.id.in_(ids)
    )
    for row in session.execute(circuits):
        known[row.id].circuit_type = row.circuit_type
    for prime in session.scalars(_of(Prime, site_id, ids)):
        known[prime.circuit_id].ended, known[prime.circuit_id].use_by = (
            prime.valid_from,
            prime.use_by,
        )
    for signed in session.scalars(_of(Signature, site_id, ids).where(Signature.valid_to.is_(None))):
        known[signed.circuit_id].signed[signed.person_id] = signed.valid_from
    for phase in session.scalars(_of(CircuitPhase, site_id, ids)):
        if phase.phase == Phase.PRIMED:
            known[phase.circuit_id].primed += _time(phase.valid_from, phase.valid_to)
    missing = _of(Part, site_id, ids).where(Part.state == PartState.NOT_FITTED)
    for part in session.scalars(missing):
        known[part.circuit_id].holes += _time(part.valid_from, part.valid_to)
    for look in session.scalars(_of(ShelfCheck, site_id, ids)):
        known[look.circuit_id].looks.append(Look(at=look.valid_from, good=look.good))
    holds = select(Hold).where(
        Hold.site_id == site_id, Hold.subject_id.in_(ids), Hold.superseded_no.is_(None)
    )
    for hold in session.scalars(holds):
        known[hold.subject_id].holes += _time(hold.valid_from, hold.valid_to)


def _of(link: Any, site_id: UUID, ids: Sequence[UUID]) -> Select[Any]:  # noqa: ANN401 - any link of a circuit
    return (
        select(link)
        .where(link.site_id == site_id, link.circuit_id.in_(ids), link.superseded_no.is_(None))
        .order_by(link.circuit_id, link.recorded_no, link.line)
    )


def _time(start: datetime, end: datetime | None) -> list[Span]:
    return list(join([found] if (found := span(start, end)) is not None else []))
