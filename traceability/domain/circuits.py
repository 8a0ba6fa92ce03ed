"""A circuit's phases and the state that is shown; one word a thing.

Phases are recorded as links in time; the state also takes in what is computed (signatures, hold,
use-by). Source of the words: the unit's glossary, common practice, no source.
"""

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Final


class Phase(StrEnum):
    """What was done with the circuit last."""

    PRIMING = "priming"
    PRIMED = "primed"
    """Prime ended; ready or not depends on signatures, holds and use-by."""
    TAKEN = "taken"
    ON_PATIENT = "on patient"
    ENDED = "ended"
    DISCARDED = "discarded"
    TRANSFERRED_OUT = "transferred out"
    KEPT = "kept for inspection"
    """Nothing more is done with it, and it is not thrown away: somebody looks at it."""


AWAY: Final = "retrieval"
"""Reason of a take for a mission: away with the retrieval team, and may come back."""


class Origin(StrEnum):
    """Who primed it."""

    OWN = "own"
    FOREIGN = "foreign"
    """Primed elsewhere, or a tag nobody knew."""


class State(StrEnum):
    """What the screen says of a circuit now."""

    PRIMING = "priming"
    AWAITING_SIGNATURES = "awaiting signatures"
    READY = "ready"
    PAST_USE_BY = "past use-by"
    ON_HOLD = "on hold"
    NOT_RIGHT = "not right"
    """The last look at it found something."""
    TAKEN = "taken"
    ON_PATIENT = "on patient"
    ENDED = "ended"
    DISCARDED = "discarded"
    TRANSFERRED_OUT = "transferred out"
    KEPT = "kept for inspection"


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """The facts that decide a circuit's state."""

    phase: Phase
    signatures: int
    """How many of the two needed signatures are in and still good."""
    on_hold: bool
    use_by: datetime | None
    """First moment of "too late", aware UTC; None while priming or where nothing is known."""
    parts_missing: bool = False
    """A needed part is marked as not fitted."""
    not_right: bool = False
    """The last look at it on the shelf found something that is not right."""


def state_at(standing: Standing, now: datetime) -> State:
    """Return the one word for a circuit; what speaks most against use comes first."""
    if standing.phase is not Phase.PRIMED:
        return State(standing.phase.value)
    if standing.on_hold:
        return State.ON_HOLD
    if standing.use_by is not None and standing.use_by <= now:
        return State.PAST_USE_BY
    if standing.not_right:
        return State.NOT_RIGHT
    if standing.signatures < SIGNATURES_NEEDED or standing.parts_missing:
        return State.AWAITING_SIGNATURES
    return State.READY


SIGNATURES_NEEDED = 2
"""Primer and helper, two different people (21 CFR 11.50 for what a signature shows)."""


def cautions_for_use(
    standing: Standing, *, contents_recorded: bool, at: datetime, listed: bool = False
) -> tuple[str, ...]:
    """Return all that speaks against use at `at`, everything at once, so staff see one list.

    A circuit without recorded contents is not blamed for what nobody could have recorded; `listed`
    says that its sender has listed all of them.
    """
    primed = standing.phase is not Phase.PRIMING
    checks = {
        "contents-not-recorded": not contents_recorded and not listed,
        "not-primed": contents_recorded and not primed,
        "signature-missing": contents_recorded
        and primed
        and standing.signatures < SIGNATURES_NEEDED,
        "part-not-fitted": standing.parts_missing,
        "past-use-by": standing.use_by is not None and standing.use_by <= at,
        "on-hold": standing.on_hold,
        "not-right": standing.not_right,
        "discarded": standing.phase is Phase.DISCARDED,
        "kept-for-inspection": standing.phase is Phase.KEPT,
        "was-used": standing.phase in {Phase.ENDED, Phase.TRANSFERRED_OUT},
    }
    return tuple(code for code, applies in checks.items() if applies)
