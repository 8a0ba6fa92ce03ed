"""Marks on a time axis: days of the unit's zone, years over a long span, hours over a short one.

Hours stand where two days or less are shown, New Year's days where more than about eight years are.

Steps of hours are steps of real time: the hour that autumn repeats is marked twice, with its zone.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

MOST: Final = 7
DAYS: Final = (1, 2, 4, 7, 14, 28, 56, 112, 224, 448)
YEARS: Final = (2, 5, 10, 20, 50, 100)
YEAR: Final = 365.25
"""Days, on average; only for choosing a step."""
MINUTES: Final = (10, 30, 60, 120, 180, 360, 720)


@dataclass(frozen=True, slots=True)
class Tick:
    """One mark and its words."""

    at: datetime
    label: str


def ticks(start: datetime, end: datetime, zone: ZoneInfo, *, most: int = MOST) -> Iterator[Tick]:
    """Give the marks from start to end, at most about `most`, in order of time."""
    length = end - start
    if length <= timedelta(days=2):
        return _hours(start, end, zone, most)
    if length / timedelta(days=DAYS[-1]) <= most:
        return _days(start, end, zone, most)
    return _years(start, end, zone, most)


def _years(start: datetime, end: datetime, zone: ZoneInfo, most: int) -> Iterator[Tick]:
    years = (end - start) / timedelta(days=YEAR)
    step = next((each for each in YEARS if years / each <= most), YEARS[-1])
    year = start.astimezone(zone).year // step * step + step
    while (at := datetime(year, 1, 1, tzinfo=zone)) <= end:
        yield Tick(at, f"{at:%Y-%m-%d}")
        year += step


def _days(start: datetime, end: datetime, zone: ZoneInfo, most: int) -> Iterator[Tick]:
    days = (end - start) / timedelta(days=1)
    step = next((each for each in DAYS if days / each <= most), DAYS[-1])
    day = start.astimezone(zone).date() + timedelta(days=1)
    while (at := datetime.combine(day, datetime.min.time(), tzinfo=zone)) <= end:
        yield Tick(at, f"{at:%Y-%m-%d}")
        day += timedelta(days=step)


def _hours(start: datetime, end: datetime, zone: ZoneInfo, most: int) -> Iterator[Tick]:
    minutes = (end - start) / timedelta(minutes=1)
    step = timedelta(minutes=next((each for each in MINUTES if minutes / each <= most), 720))
    local = start.astimezone(zone)
    changes = local.utcoffset() != end.astimezone(zone).utcoffset()
    midnight = datetime.combine(local.date(), datetime.min.time(), tzinfo=zone).astimezone(UTC)
    at = midnight + step * (-(-(start - midnight) // step))
    day = None
    while at <= end:
        shown = at.astimezone(zone)
        clock = f"{shown:%H:%M %Z}" if changes else f"{shown:%H:%M}"
        yield Tick(at, clock if shown.date() == day else f"{shown:%Y-%m-%d} {clock}")
        day = shown.date()
        at += step
