"""Units of one lot that came and that nothing on record used: in steps of time.

With S(t) = what had come by t less what recorded uses had taken by t, a unit is free at t only if
no later recorded use needs it: A(t) = the least S from t on. A rises in steps; each is a batch of
free units that came at one time. Source: own definition; the shelves of a recall answer rest on it.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

__all__ = ["Free", "free_units", "less_one"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Free:
    """What is free of a lot."""

    batches: tuple[tuple[datetime, int], ...] = ()
    """When units came and how many, in order of time; none of them empty."""
    short: bool = False
    """More was used by some moment than had come: the book contradicts itself."""


def free_units(came: Iterable[tuple[datetime, int]], used: Iterable[tuple[datetime, int]]) -> Free:
    """Return what is free; of one moment, what came counts before what was used.

    A lot of which nothing ever came counts against nothing: it was never in the book.
    """
    arrivals = [(at, 0, units) for at, units in came if units > 0]
    if not arrivals:
        return Free()
    moments = sorted([*arrivals, *((at, 1, -units) for at, units in used if units > 0)])
    level, levels = 0, []
    for _, _, change in moments:
        level += change
        levels.append(level)
    batches: list[tuple[datetime, int]] = []
    least = levels[-1]
    for (at, is_use, _), level_then, before in zip(
        reversed(moments), reversed(levels), reversed([0, *levels[:-1]]), strict=True
    ):
        least = min(least, level_then)
        if not is_use and (rise := least - min(least, before)) > 0:
            batches.append((at, rise))
    return Free(batches=_joined(reversed(batches)), short=min(levels) < 0)


def less_one(free: Free, at: datetime) -> Free | None:
    """Return what is free after one more use at `at`; None: it has to be reckoned from the start.

    The newest unit that had come by then is the one that goes: an older one may be needed by a use
    before it.
    """
    if free.short:
        return None
    batches = list(free.batches)
    for number in reversed(range(len(batches))):
        came_at, units = batches[number]
        if came_at <= at:
            batches[number : number + 1] = [(came_at, units - 1)] if units > 1 else []
            return Free(batches=tuple(batches))
    return None


def _joined(batches: Iterable[tuple[datetime, int]]) -> tuple[tuple[datetime, int], ...]:
    found: dict[datetime, int] = {}
    for at, units in batches:
        found[at] = found.get(at, 0) + units
    return tuple(found.items())
