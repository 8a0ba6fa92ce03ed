"""How many circuits stood ready, from when to when: the unit's own log as steps in time."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import TypeAlias

from traceability.domain.spans import Span, span

__all__ = ["Step", "counted", "filled", "gaps", "last_enough"]

Step: TypeAlias = tuple[datetime, int]
"""A moment (aware) and how many from then on."""


def counted(spans: Iterable[Span]) -> tuple[Step, ...]:
    """Return how many of the spans run at once, one step for each moment at which that changes."""
    changes: dict[datetime, int] = {}
    for one in spans:
        changes[one.start] = changes.get(one.start, 0) + 1
        if one.end is not None:
            changes[one.end] = changes.get(one.end, 0) - 1
    steps: list[Step] = []
    count = 0
    for at in sorted(changes):
        count += changes[at]
        if not steps or steps[-1][1] != count:
            steps.append((at, count))
    return tuple(steps)


def filled(
    by_place: Mapping[str, Iterable[Span]], wanted: Mapping[str, int], since: datetime
) -> tuple[Step, ...]:
    """Return how many wanted circuits stood ready over all places, from `since` on.

    Two at a place that wants one do not fill another place.
    """
    steps = {place: counted(by_place.get(place, ())) for place in wanted}
    moments = {since} | {at for found in steps.values() for at, _ in found if at > since}
    return tuple(
        (at, sum(min(_at(steps[place], at), wanted[place]) for place in wanted))
        for at in sorted(moments)
    )


def _at(steps: Sequence[Step], at: datetime) -> int:
    return next((count for moment, count in reversed(steps) if moment <= at), 0)


def gaps(steps: Sequence[Step], wanted: int) -> tuple[Span, ...]:
    """Return when fewer than wanted stood ready, after the first time that enough did."""
    found: list[Span] = []
    since: datetime | None = None
    had_enough = False
    for at, count in steps:
        if count >= wanted:
            gap = None if since is None else span(since, at)
            found += [gap] if gap is not None else []
            had_enough, since = True, None
        elif had_enough and since is None:
            since = at
    return (*found, Span(start=since)) if since is not None else tuple(found)


def last_enough(steps: Sequence[Step], wanted: int) -> datetime | None:
    """Return since when fewer than wanted stand ready; None while enough do, or if never."""
    open_gaps = [gap.start for gap in gaps(steps, wanted) if gap.end is None]
    return open_gaps[-1] if open_gaps else None
