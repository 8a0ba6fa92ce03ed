"""The ready shelf: what stands ready, what does not count and why, what is missing since when."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from sqlalchemy import Select, select
from sqlalchemy.orm import Session

from traceability.domain.circuits import Phase
from traceability.domain.parts import PartState
from traceability.domain.readiness import Candidate, Readiness, Why, standing
from traceability.domain.readiness import RequiredPlace as Wanted
from traceability.domain.ready_log import counted, last_enough
from traceability.domain.shelf_checks import Look, due_at
from traceability.domain.use_by import Limits, Way
from traceability.reads.circuits import CircuitFacts, facts_of
from traceability.reads.lists import PlaceFacts, places
from traceability.reads.ready_log import ready_spans, stood_lately
from traceability.reads.told import ToldFacts, told_of_place
from traceability.storage.circuits import Circuit, CircuitPhase
from traceability.storage.policies import newest_policy


@dataclass(frozen=True, slots=True, kw_only=True)
class OnShelf:
    """One primed circuit, and all that has to be said of it."""

    circuit: CircuitFacts
    reasons: tuple[Why, ...]
    """Why it does not count; empty for a ready one."""
    soon: bool
    """It counts and reaches its use-by within a day."""
    look: Look | None
    """The last look at it; None: nobody has looked yet."""
    look_due_at: datetime
    """When it has to be looked at next."""
    look_overdue: bool
    wet_days: int | None
    """Whole days it has been wet, where that is longer than the policy's note; else None."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RequiredPlace:
    """A place where ready circuits have to stand."""

    place: PlaceFacts
    ready: tuple[OnShelf, ...]
    """What counts, earliest use-by first; more than are wanted here fill no other place."""
    not_counted: tuple[OnShelf, ...]
    """What stands there and does not count."""
    missing: int
    """How many ready circuits it lacks."""
    missing_since: datetime | None
    """Since when it holds too few; None while it holds enough, or if it never did."""
    told: tuple[ToldFacts, ...]
    """Who was told of it by hand since then, newest first."""

    @property
    def circuit(self) -> CircuitFacts | None:
        """The ready circuit that keeps longest; None: there is none."""
        return self.ready[-1].circuit if self.ready else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Shelf:
    """The shelf at one moment."""

    ready: int
    """Wanted circuits that stand ready: two at a place that wants one count once."""
    target: int
    beyond: int
    """Ready circuits beyond what their places want."""
    required: tuple[RequiredPlace, ...]
    elsewhere: tuple[OnShelf, ...]
    """Primed circuits that stand at no required place."""
    priming: tuple[CircuitFacts, ...]
    away: tuple[CircuitFacts, ...]
    """Taken, flow on not recorded."""
    on_patient: tuple[CircuitFacts, ...]
    limits: Limits
    """The policy in force."""


def shelf(session: Session, site_id: UUID, now: datetime) -> Shelf:
    """Return the shelf. Only circuits that are not ended are read: a handful."""
    alive = [facts_of(session, circuit, now) for circuit in session.scalars(_alive(site_id))]
    primed = {each.number: each for each in alive if each.standing.phase is Phase.PRIMED}
    posts = [place for place in places(session, site_id) if place.stands_for]
    _, limits = newest_policy(session, site_id)
    found = standing(
        [_candidate(each) for each in primed.values()], [_wanted(post) for post in posts], now
    )
    why = {each.circuit: each.reasons for each in found.not_counted}
    shown = {
        number: _shown(each, why.get(number, ()), number in found.soon, limits, now)
        for number, each in primed.items()
    }
    at_posts = {post.id for post in posts}
    return Shelf(
        ready=found.filled,
        target=found.target,
        beyond=found.ready - found.filled,
        required=tuple(_required(session, site_id, post, found, shown, now) for post in posts),
        elsewhere=tuple(each for each in shown.values() if each.circuit.place_id not in at_posts),
        priming=tuple(each for each in alive if each.standing.phase is Phase.PRIMING),
        away=tuple(each for each in alive if each.standing.phase is Phase.TAKEN),
        on_patient=tuple(each for each in alive if each.standing.phase is Phase.ON_PATIENT),
        limits=limits,
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


def _candidate(circuit: CircuitFacts) -> Candidate:
    return Candidate(
        circuit=circuit.number,
        place=str(circuit.place_id) if circuit.place_id else None,
        circuit_type=circuit.circuit_type,
        signers=tuple(str(each.person_id) for each in circuit.signatures),
        use_by=circuit.use_by,
        on_hold=circuit.standing.on_hold,
        not_right=circuit.standing.not_right,
        not_fitted=tuple(
            part.place for part in circuit.now_in if part.state is PartState.NOT_FITTED
        ),
    )


def _wanted(post: PlaceFacts) -> Wanted:
    return Wanted(
        name=str(post.id),
        target=post.wanted,
        accepts=frozenset(post.accepts),
        least_left=post.least_left,
    )


def _shown(
    circuit: CircuitFacts, reasons: tuple[Why, ...], soon: bool, limits: Limits, now: datetime
) -> OnShelf:
    since = max([circuit.ended_at or circuit.begun_at, *(each.at for each in circuit.signatures)])
    due = due_at(since, circuit.looks, timedelta(hours=limits.check_hours))
    return OnShelf(
        circuit=circuit,
        reasons=reasons,
        soon=soon,
        look=circuit.look,
        look_due_at=due,
        look_overdue=due <= now,
        wet_days=_wet_days(circuit, limits, now),
    )


def _wet_days(circuit: CircuitFacts, limits: Limits, now: datetime) -> int | None:
    if circuit.ended_at is None or circuit.way == Way.DRY:
        return None
    wet = now - circuit.ended_at
    return wet.days if wet > timedelta(days=limits.plasticiser_days) else None


def _required(
    session: Session,
    site_id: UUID,
    post: PlaceFacts,
    found: Readiness,
    shown: Mapping[str, OnShelf],
    now: datetime,
) -> RequiredPlace:
    here = next(each for each in found.places if each.place == str(post.id))
    since = missing_since(session, site_id, post, now) if here.missing else None
    told = told_of_place(session, site_id, post.id, since) if here.missing else ()
    return RequiredPlace(
        place=post,
        ready=tuple(shown[number] for number in here.ready),
        not_counted=tuple(shown[each.circuit] for each in here.not_counted),
        missing=here.missing,
        missing_since=since,
        told=told,
    )


def missing_since(
    session: Session, site_id: UUID, post: PlaceFacts, now: datetime
) -> datetime | None:
    """Return the last moment at which the place held enough ready circuits: the re-prime clock."""
    stays = stood_lately(session, site_id, post.id)
    spans = ready_spans(session, site_id, stays, [post], now)
    return last_enough(counted(spans.get(post.id, ())), post.wanted)
