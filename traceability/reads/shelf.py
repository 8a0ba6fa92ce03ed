"""The ready shelf: what stands ready, what does not count and why, what is missing since when."""

from dataclasses import dataclass
from datetime import datetime
from typing import Final
from uuid import UUID

from sqlalchemy import ColumnElement, Select, select
from sqlalchemy.orm import Session

from traceability.domain.circuits import SIGNATURES_NEEDED, Phase, State
from traceability.domain.spans import Span, overlap, span
from traceability.reads.circuits import CircuitFacts, facts_of
from traceability.reads.lists import PlaceFacts, places
from traceability.storage.base import Link, believed_at
from traceability.storage.circuits import Circuit, CircuitPhase, CircuitPlace
from traceability.storage.holds import Hold
from traceability.storage.lookup import prime_of, signatures_of


@dataclass(frozen=True, slots=True, kw_only=True)
class RequiredPlace:
    """A place where a ready circuit has to stand."""

    place: PlaceFacts
    circuit: CircuitFacts | None
    """The ready circuit that stands there; None: missing."""
    not_counted: tuple[CircuitFacts, ...]
    """Circuits that stand there and do not count."""
    missing_since: datetime | None
    """Since when the place holds no ready circuit; None while it does, or if it never did."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shelf:
    """The shelf at one moment."""

    ready: int
    target: int
    required: tuple[RequiredPlace, ...]
    elsewhere: tuple[CircuitFacts, ...]
    """Primed circuits that stand at no required place."""
    priming: tuple[CircuitFacts, ...]
    away: tuple[CircuitFacts, ...]
    """Taken, flow on not recorded."""
    on_patient: tuple[CircuitFacts, ...]


def shelf(session: Session, site_id: UUID, now: datetime) -> Shelf:
    """Return the shelf. Only circuits that are not ended are read: a handful."""
    alive = [facts_of(session, circuit, now) for circuit in session.scalars(_alive(site_id))]
    primed = [each for each in alive if each.standing.phase is Phase.PRIMED]
    posts = [place for place in places(session, site_id) if place.stands_for]
    required = tuple(_required(session, site_id, post, primed, now) for post in posts)
    at_posts = {post.id for post in posts}
    return Shelf(
        ready=sum(1 for each in required if each.circuit is not None),
        target=len(posts),
        required=required,
        elsewhere=tuple(each for each in primed if each.place_id not in at_posts),
        priming=tuple(each for each in alive if each.standing.phase is Phase.PRIMING),
        away=tuple(each for each in alive if each.standing.phase is Phase.TAKEN),
        on_patient=tuple(each for each in alive if each.standing.phase is Phase.ON_PATIENT),
    )


ALIVE = (Phase.PRIMING, Phase.PRIMED, Phase.TAKEN, Phase.ON_PATIENT)


def _alive(site_id: UUID) -> Select[Circuit]:
    return (
        select(Circuit)
        .join(
            CircuitPhase,
            (CircuitPhase.site_id == Circuit.site_id) & (CircuitPhase.circuit_id == Circuit.id),
        )
        .where(
            CircuitPhase.site_id == site_id,
            CircuitPhase.phase.in_([phase.value for phase in ALIVE]),
            CircuitPhase.superseded_no.is_(None),
            CircuitPhase.valid_to.is_(None),
        )
        .order_by(Circuit.number)
    )


def _required(
    session: Session,
    site_id: UUID,
    post: PlaceFacts,
    primed: list[CircuitFacts],
    now: datetime,
) -> RequiredPlace:
    here = [each for each in primed if each.place_id == post.id]
    ready = sorted(
        (each for each in here if each.state is State.READY),
        key=lambda each: each.use_by or now,
    )
    chosen = ready[-1] if ready else None
    return RequiredPlace(
        place=post,
        circuit=chosen,
        not_counted=tuple(each for each in here if each is not chosen),
        missing_since=None if chosen else _missing_since(session, site_id, post.id, now),
    )


def _missing_since(
    session: Session, site_id: UUID, place_id: UUID, now: datetime
) -> datetime | None:
    """Return the last moment at which the place held a ready circuit: the re-prime clock."""
    stood = (
        select(Circuit)
        .join(
            CircuitPlace,
            (CircuitPlace.site_id == Circuit.site_id) & (CircuitPlace.circuit_id == Circuit.id),
        )
        .where(
            CircuitPlace.site_id == site_id,
            CircuitPlace.place_id == place_id,
            believed_at(CircuitPlace, None),
        )
        .order_by(CircuitPlace.valid_from.desc())
        .limit(LOOK_BACK)
    )
    ends = [
        span.end or now
        for circuit in session.scalars(stood).unique()
        for span in ready_spans(session, circuit, place_id, now)
    ]
    return max(ends, default=None)


LOOK_BACK: Final = 30
"""How many stays at the place are looked at; the last ready one is nearly always the newest."""


def ready_spans(session: Session, circuit: Circuit, place_id: UUID, now: datetime) -> list[Span]:
    """Return when the circuit stood ready at the place: primed, signed by two, free, in date."""
    signatures, prime = signatures_of(session, circuit), prime_of(session, circuit)
    if prime is None or len(signatures) < SIGNATURES_NEEDED:
        return []
    signed = max(each.valid_from for each in signatures)
    ready = span(max(signed, prime.valid_from), min(prime.use_by, now))
    if ready is None:
        return []
    here = _spans(session, CircuitPlace, circuit, CircuitPlace.place_id == place_id)
    primed = _spans(session, CircuitPhase, circuit, CircuitPhase.phase == Phase.PRIMED)
    held = _spans(session, Hold, circuit, Hold.subject_id == circuit.id)
    found = [
        both
        for stay in here
        for phase in primed
        if (there := overlap(stay, phase)) is not None
        and (both := overlap(there, ready)) is not None
    ]
    return without(found, held)


def _spans(
    session: Session, link: type[Link], circuit: Circuit, where: ColumnElement[bool]
) -> list[Span]:
    rows = select(link.valid_from, link.valid_to).where(
        link.site_id == circuit.site_id, where, believed_at(link, None)
    )
    if link is not Hold:
        rows = rows.where(link.circuit_id == circuit.id)  # type: ignore[attr-defined]
    found = (span(start, end) for start, end in session.execute(rows))
    return [each for each in found if each is not None]


def without(spans: list[Span], taken: list[Span]) -> list[Span]:
    """Return the time that lies in a span and in none of `taken`."""
    for hole in taken:
        pieces = [
            piece
            for each in spans
            for piece in (
                span(each.start, min(hole.start, each.end) if each.end else hole.start),
                None if hole.end is None else span(max(each.start, hole.end), each.end),
            )
        ]
        spans = [piece for piece in pieces if piece is not None]
    return spans
