"""Which moment to believe when a device's clock and ours differ."""

from datetime import datetime, timedelta
from enum import StrEnum
from typing import Final

MAX_AHEAD: Final = timedelta(minutes=10)
"""How far a device's clock may run ahead and still be believed. Own choice, no source."""

LATE: Final = timedelta(hours=24)
"""An entry made later than this is shown as late. Common practice, no source."""

MINUTE: Final = timedelta(minutes=1)
"""People enter minutes: a moment less than this before its limit is the limit's own minute."""

ONE_SCAN: Final = timedelta(milliseconds=1500)
"""The same lot code from one device within this time is one scan (settled in review, no source)."""


class Manner(StrEnum):
    """How an act comes in; it decides whether the act may be refused."""

    PLANNED = "planned"
    """A person looks at the screen and can still choose."""
    ANYWAY = "anyway"
    """The same person, having read the refusal, chose its way on."""
    EMERGENCY = "emergency"
    QUEUED = "queued"
    """Done earlier without a network: it has happened, whatever is thought of it now."""

    @property
    def refusable(self) -> bool:
        """Whether someone is there to choose another way."""
        return self is Manner.PLANNED


def is_before(at: datetime, limit: datetime) -> bool:
    """Tell whether a moment that somebody entered lies before its limit, by the minute."""
    return at <= limit - MINUTE


def believed_moment(
    device_at: datetime, *, now: datetime, not_before: datetime | None = None
) -> tuple[datetime, tuple[str, ...]]:
    """Return the moment to record for a device's time, and what to say about it.

    A clock a little ahead is believed. A moment that cannot be true, too far ahead or before
    what it ends (`not_before`), is recorded as now; the caller keeps the device's time too.
    """
    if not_before is not None and not_before - MINUTE < device_at < not_before:
        device_at = not_before
    earliest = not_before or device_at
    if device_at > now + MAX_AHEAD or device_at < earliest:
        return max(now, not_before or now), ("device-time-not-believed",)
    if device_at > now:
        return device_at, ("clock-skew",)
    return device_at, ("entered-late",) if now - device_at > LATE else ()
