"""Looking at a circuit that stands ready: what can be found, when it is due, what it means.

A look that found something keeps the circuit from counting until a look finds it right again, or it
is discarded. An emergency is never stopped by it. Source: common practice, no source.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum

from traceability.domain.spans import Span, span

__all__ = ["Finding", "Look", "due_at", "last_look", "not_right"]


class Finding(StrEnum):
    """What was not right, in the order in which it is asked."""

    SEAL = "seal"
    CLAMPS = "clamps"
    LEVEL = "level"
    CONNECTIONS = "connections"
    OTHER = "other"


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """One look at one circuit."""

    at: datetime
    """Aware."""
    good: bool
    findings: tuple[str, ...] = ()
    """What was not right; empty for a good one."""


def last_look(looks: Iterable[Look]) -> Look | None:
    """Return the look that counts; of two at one moment the one given last."""
    found: Look | None = None
    for look in looks:
        if found is None or look.at >= found.at:
            found = look
    return found


def due_at(stands_since: datetime, looks: Iterable[Look], every: timedelta) -> datetime:
    """Return when it has to be looked at next; until a first look, since it stands there."""
    last = last_look(looks)
    return (stands_since if last is None else max(last.at, stands_since)) + every


def not_right(looks: Iterable[Look]) -> tuple[Span, ...]:
    """Return when a look said that something is not right, each until the next good look."""
    bad: list[Span] = []
    since: datetime | None = None
    for look in sorted(looks, key=lambda look: look.at):
        if look.good and since is not None:
            ended = span(since, look.at)
            bad += [ended] if ended is not None else []
            since = None
        elif not look.good and since is None:
            since = look.at
    return (*bad, Span(start=since)) if since is not None else tuple(bad)
