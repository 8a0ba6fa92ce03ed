"""How many circuits stand ready, place by place, and why others do not count.

Ready: primed, signed by two different people, inside its use-by, not on hold, not taken, nothing
needed left out, nothing found wrong at the last look, and of the right type for the place where it
stands. Source: design rule on
readiness; common practice, no source.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from typing import Final

from traceability.domain.circuits import SIGNATURES_NEEDED

__all__ = [
    "SOON",
    "Candidate",
    "NotCounted",
    "PlaceStanding",
    "Readiness",
    "RequiredPlace",
    "Why",
    "standing",
    "why_not",
]

SOON: Final = timedelta(hours=24)
"""A circuit this close to its use-by counts and is flagged. Common practice, no source."""


class Why(StrEnum):
    """Why a circuit that is there does not count; in the order in which they are shown."""

    NOT_PRIMED = "not-primed"
    TAKEN = "taken"
    DISCARDED = "discarded"
    ON_HOLD = "on-hold"
    NOT_RIGHT = "not-right"
    """The last look at it found something that is not right."""
    PAST_USE_BY = "past-use-by"
    USE_BY_NOT_KNOWN = "use-by-not-known"
    UNSIGNED = "unsigned"
    """Fewer than two different people have signed."""
    PART_NOT_FITTED = "part-not-fitted"
    WRONG_TYPE = "wrong-type"
    TOO_SHORT = "too-short"
    """Its use-by comes sooner than this place needs."""
    NO_REQUIRED_PLACE = "no-required-place"
    """It stands where nobody looks for a ready circuit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """A circuit that may stand ready, with what decides it."""

    circuit: str
    """Its number or id: unlike that of any other."""
    place: str | None
    """Where it stands; None: not in a place."""
    circuit_type: str | None = None
    primed: bool = True
    signers: tuple[str, ...] = ()
    """Everyone who signed; the same person twice is one signature."""
    use_by: datetime | None = None
    """Aware; first moment too late. None: nothing is known, so it does not count."""
    on_hold: bool = False
    not_right: bool = False
    """The last look at it found something; a good look, or somebody's ruling, comes first."""
    taken: bool = False
    """Taken, or away with the retrieval team, or on a patient."""
    discarded: bool = False
    """Also ended, transferred out, kept for inspection: it will not come back as ready."""
    not_fitted: tuple[str, ...] = ()
    """Needed parts that are marked as not fitted."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RequiredPlace:
    """A place where the unit wants circuits standing ready."""

    name: str
    target: int = 1
    accepts: frozenset[str] = frozenset()
    """Circuit types that are right here; empty: any type."""
    least_left: timedelta = timedelta(0)
    """How long the use-by must still be away, as a retrieval box needs."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NotCounted:
    """A circuit that is there and does not count, with every reason."""

    circuit: str
    place: str | None
    reasons: tuple[Why, ...]
    """Never empty; in the order of `Why`."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceStanding:
    """What one required place holds."""

    place: str
    target: int
    ready: tuple[str, ...]
    """Circuits that count, earliest use-by first."""
    not_counted: tuple[NotCounted, ...]

    @property
    def missing(self) -> int:
        """How many ready circuits this place lacks."""
        return max(self.target - len(self.ready), 0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Readiness:
    """The whole shelf at one moment."""

    ready: int
    """Circuits that count, also beyond a place's target."""
    target: int
    places: tuple[PlaceStanding, ...]
    """In the order in which the places were given."""
    not_counted: tuple[NotCounted, ...]
    """All of them, those in no required place included; by circuit."""
    soon: tuple[str, ...]
    """Circuits that count and reach their use-by within `SOON`."""
    next_use_by: datetime | None
    """Earliest use-by among those that count."""

    @property
    def filled(self) -> int:
        """Ready circuits in the places that want them: two at one place do not fill another."""
        return self.target - sum(place.missing for place in self.places)


def why_not(one: Candidate, place: RequiredPlace | None, now: datetime) -> tuple[Why, ...]:
    """Return every reason why a circuit does not count at `now`; empty when it is ready."""
    known = one.use_by is not None
    late = one.use_by is not None and one.use_by <= now
    short = (
        place is not None
        and one.use_by is not None
        and not late
        and one.use_by - now < place.least_left
    )
    applies = {
        Why.NOT_PRIMED: not one.primed,
        Why.TAKEN: one.taken,
        Why.DISCARDED: one.discarded,
        Why.ON_HOLD: one.on_hold,
        Why.NOT_RIGHT: one.not_right,
        Why.PAST_USE_BY: late,
        Why.USE_BY_NOT_KNOWN: one.primed and not known,
        Why.UNSIGNED: one.primed and len(set(one.signers)) < SIGNATURES_NEEDED,
        Why.PART_NOT_FITTED: bool(one.not_fitted),
        Why.WRONG_TYPE: place is not None
        and bool(place.accepts)
        and one.circuit_type not in place.accepts,
        Why.TOO_SHORT: short,
        Why.NO_REQUIRED_PLACE: place is None,
    }
    return tuple(why for why in Why if applies[why])


def standing(
    circuits: Iterable[Candidate], required_places: Iterable[RequiredPlace], now: datetime
) -> Readiness:
    """Return what stands ready at `now` (aware) and what does not count, with reasons.

    The order in which circuits are given changes nothing.

    Raises:
        ValueError: two circuits of one number.
    """
    places = {place.name: place for place in required_places}
    wanted = list(places.values())
    everyone = sorted(circuits, key=lambda c: c.circuit)
    if len({c.circuit for c in everyone}) != len(everyone):
        msg = "a circuit stands in one place only"
        raise ValueError(msg)
    ready: dict[str, list[Candidate]] = {place.name: [] for place in wanted}
    left_out: list[NotCounted] = []
    for one in everyone:
        place = None if one.place is None else places.get(one.place)
        reasons = why_not(one, place, now)
        if reasons or place is None:
            left_out.append(NotCounted(circuit=one.circuit, place=one.place, reasons=reasons))
        else:
            ready[place.name].append(one)
    for row in ready.values():
        row.sort(key=lambda c: (c.use_by or now, c.circuit))
    counted = [one for row in ready.values() for one in row]
    ends = sorted(one.use_by for one in counted if one.use_by is not None)
    return Readiness(
        ready=len(counted),
        target=sum(place.target for place in wanted),
        places=tuple(
            PlaceStanding(
                place=place.name,
                target=place.target,
                ready=tuple(one.circuit for one in ready[place.name]),
                not_counted=tuple(n for n in left_out if n.place == place.name),
            )
            for place in wanted
        ),
        not_counted=tuple(left_out),
        soon=tuple(c.circuit for c in counted if c.use_by and c.use_by - now <= SOON),
        next_use_by=ends[0] if ends else None,
    )
