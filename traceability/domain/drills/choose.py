"""Choose lots at random, in a way that can be repeated; and which week a drill is of."""

from collections.abc import Iterable
from datetime import date, datetime, timedelta
from hashlib import sha256
from uuid import UUID
from zoneinfo import ZoneInfo

__all__ = ["choose", "week_of"]


def choose(seed: str, recent: Iterable[UUID], older: Iterable[UUID], wanted: int) -> list[UUID]:
    """Return so many lots, those with entries of late first; fewer where there are fewer.

    The order is that of SHA-256 over seed and id: the same seed and the same lots give the same
    choice on every machine, and nobody can steer it without changing the recorded seed.
    """
    first = sorted(set(recent), key=lambda lot: _rank(seed, lot))
    rest = sorted(set(older) - set(first), key=lambda lot: _rank(seed, lot))
    return [*first, *rest][: max(wanted, 0)]


def _rank(seed: str, lot: UUID) -> str:
    return sha256(f"{seed} {lot}".encode()).hexdigest()


def week_of(at: datetime, zone: ZoneInfo) -> date:
    """Return the Monday of the local week (ISO 8601) that a moment lies in."""
    day = at.astimezone(zone).date()
    return day - timedelta(days=day.weekday())
