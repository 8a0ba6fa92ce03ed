"""Until when a primed circuit may be used, which limit decides and which comes next.

The use-by is computed, never typed: the earliest of all limits that apply. It counts from the end
of the prime, never from a signature, and with the policy in force at that prime. Published figures
stand in `domain.figures`: figures, not a recommendation; the unit's policy and the maker's
instructions win.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from zoneinfo import ZoneInfo

from traceability.domain.days import days_later, end_of_day, hours_later

__all__ = [
    "Limit",
    "Limits",
    "PartExpiry",
    "Reason",
    "UseBy",
    "Way",
    "decide",
    "is_usable",
    "opened_later",
]


class Way(StrEnum):
    """How the circuit stands ready."""

    DRY = "dry"
    """Assembled, not filled."""
    WET_CLOSED = "wet-closed"
    WET_OPEN = "wet-open"
    """Filled, with an open reservoir or opened after filling."""


class Limit(StrEnum):
    """Codes of the limits, in the order in which they are named when several fall together."""

    BLOOD_PRIME = "blood-prime"
    OPENED_FLUID = "opened-fluid"
    POLICY_WET_CLOSED = "policy-wet-closed"
    POLICY_WET_OPEN = "policy-wet-open"
    POLICY_DRY = "policy-dry"
    PART_EXPIRY = "part-expiry"


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """A unit's storage policy; the defaults are ours, what was published stands in `figures`.

    Raises ValueError for a limit below one day or hour: zero would mean "never ready".
    """

    wet_closed_days: int = 30
    dry_days: int = 60
    wet_open_days: int = 5
    blood_hours: float = 4
    """Hours after blood entered."""
    opened_fluid_hours: float | None = None
    """Hours after a fluid was opened; None: the policy sets none."""
    parts_expiry_counts: bool = True
    """Whether a sterile part used inside its date still limits the circuit; yes is stricter."""
    plasticiser_days: int = 28
    """Wet for longer than this: a note is shown, nothing is limited."""
    check_hours: int = 24
    """At least so often a circuit that stands ready is looked at. Common practice, no source."""
    keep_pictures: bool = False
    """Whether photos of a laid-out trolley are kept as evidence; no limit, and off by default."""

    def __post_init__(self) -> None:
        """Refuse limits below one."""
        smallest = min(
            self.wet_closed_days,
            self.dry_days,
            self.wet_open_days,
            self.blood_hours,
            1 if self.opened_fluid_hours is None else self.opened_fluid_hours,
            self.plasticiser_days,
            self.check_hours,
        )
        if smallest <= 0:
            msg = "a storage limit must be more than zero"
            raise ValueError(msg)

    def days(self, way: Way) -> int:
        """Return the policy's days for one way of standing ready."""
        return {
            Way.DRY: self.dry_days,
            Way.WET_CLOSED: self.wet_closed_days,
            Way.WET_OPEN: self.wet_open_days,
        }[way]


@dataclass(frozen=True, slots=True, kw_only=True)
class PartExpiry:
    """The printed expiry of one part or fluid that is in the circuit now."""

    name: str
    """Product name or item number, as shown."""
    lot: str | None
    """None: not recorded or not readable."""
    expiry: date
    """Last day of use; for a month-only print the last day of that month."""
    day_given: bool = True
    """False where the print names only year and month."""

    @property
    def printed(self) -> str:
        """The expiry as it stands on the wrapper, `YYYY-MM-DD` or `YYYY-MM`."""
        return f"{self.expiry:%Y-%m-%d}" if self.day_given else f"{self.expiry:%Y-%m}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Reason:
    """One limit that applies, and when it ends."""

    code: Limit
    at: datetime
    """Aware UTC; the first moment past this limit."""
    facts: Mapping[str, str | int | float | None]
    """What a sentence needs: `days`, `hours`, or `name`, `lot`, `expiry`."""


@dataclass(frozen=True, slots=True, kw_only=True)
class UseBy:
    """The answer: `at` is the first moment at which the circuit is no longer usable."""

    at: datetime
    """Aware UTC."""
    deciding: Reason
    next: Reason | None
    """The limit that would decide if the deciding one fell away; None where it stands alone."""
    all: tuple[Reason, ...]
    """Every limit that applies, earliest first."""


def decide(
    prime_end: datetime,
    zone: ZoneInfo,
    way: Way,
    blood: bool,
    limits: Limits,
    expiries: Iterable[PartExpiry],
    *,
    blood_at: datetime | None = None,
    fluid_opened_at: datetime | None = None,
) -> UseBy:
    """Return the earliest limit, what decides, and what comes next.

    Args:
        prime_end: aware; end of the prime, or of the dry set-up while nothing is filled. A dry
            set-up that is filled later gets a new call: its dry limit has stopped.
        zone: of the unit; days are its days.
        way: how it stands ready.
        blood: True when any blood component is in the prime.
        limits: the policy in force at that prime.
        expiries: of what is in the circuit now; a part taken out no longer counts.
        blood_at: when the first blood component entered; the prime's end where not recorded.
        fluid_opened_at: when the first fluid was opened; the prime's end where not recorded.

    Raises:
        ValueError: a naive time.

    Source: design rules on use-by and day arithmetic; common practice, no source.
    """
    days = limits.days(way)
    reasons = [
        Reason(
            code=Limit(f"policy-{way}"),
            at=days_later(prime_end, days, zone),
            facts={"days": days},
        )
    ]
    if blood:
        at = hours_later(blood_at or prime_end, limits.blood_hours)
        reasons.append(Reason(code=Limit.BLOOD_PRIME, at=at, facts={"hours": limits.blood_hours}))
    if limits.opened_fluid_hours is not None and way is not Way.DRY:
        hours = limits.opened_fluid_hours
        at = hours_later(fluid_opened_at or prime_end, hours)
        reasons.append(Reason(code=Limit.OPENED_FLUID, at=at, facts={"hours": hours}))
    if limits.parts_expiry_counts:
        reasons += [
            Reason(
                code=Limit.PART_EXPIRY,
                at=end_of_day(part.expiry, zone),
                facts={"name": part.name, "lot": part.lot, "expiry": part.printed},
            )
            for part in expiries
        ]
    return _earliest(reasons)


def opened_later(
    standing: Iterable[Reason], opened_at: datetime, zone: ZoneInfo, limits: Limits
) -> UseBy:
    """Return the use-by of a closed wet circuit that was opened at `opened_at` (aware).

    The limits that stood before stay; the one for opened circuits counts from the opening and can
    only make it shorter. `standing` needs the two earliest, no more: no other can come first now.

    Raises:
        ValueError: no limit stood before, or a naive time.

    Source: common practice, no source.
    """
    days = limits.wet_open_days
    added = Reason(
        code=Limit.POLICY_WET_OPEN,
        at=days_later(opened_at, days, zone),
        facts={"days": days},
    )
    before = list(standing)
    if not before:
        msg = "a circuit without a limit cannot be opened"
        raise ValueError(msg)
    return _earliest([*before, added])


def _earliest(reasons: Iterable[Reason]) -> UseBy:
    ordered = sorted(reasons, key=_order)
    return UseBy(
        at=ordered[0].at,
        deciding=ordered[0],
        next=ordered[1] if len(ordered) > 1 else None,
        all=tuple(ordered),
    )


def _order(reason: Reason) -> tuple[datetime, int, str]:
    """Order by time, then by kind, then by text, so that the order of parts changes nothing."""
    return (reason.at, list(Limit).index(reason.code), repr(sorted(reason.facts.items())))


def is_usable(use_by: datetime, at: datetime) -> bool:
    """Return whether a circuit is inside its use-by; the use-by itself is already too late."""
    return at < use_by
