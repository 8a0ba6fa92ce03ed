"""When a report or reply is due: work days of a site's calendar, or calendar days.

Counting starts the day after the day one became aware, unless a rule says otherwise.
Source for "after the day": 21 CFR 803.10. Holidays are the site's own data.
"""

from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from typing import Final

__all__ = ["PUBLISHED", "Rule", "Start", "Unit", "WorkCalendar", "due", "work_days_left"]

_SATURDAY: Final = 5
_SUNDAY: Final = 6
_LONGEST: Final = 3660
"""Days searched for one work day before the calendar is called impossible. Ten years."""


class Unit(StrEnum):
    """What is counted."""

    WORK_DAYS = "work-days"
    CALENDAR_DAYS = "calendar-days"


class Start(StrEnum):
    """Which day is day one."""

    DAY_AFTER = "day-after"
    SAME_DAY = "same-day"
    """The day itself counts, if it is a work day."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkCalendar:
    """Which days a site works."""

    holidays: frozenset[date] = frozenset()
    days_off: frozenset[int] = frozenset({_SATURDAY, _SUNDAY})
    """Weekdays without work, Monday = 0."""

    def __post_init__(self) -> None:
        """Refuse a week without work: no work day would ever come."""
        if not set(range(7)) - self.days_off:
            msg = "a calendar needs at least one working weekday"
            raise ValueError(msg)

    def is_work_day(self, day: date) -> bool:
        """Return whether the site works on that day."""
        return day.weekday() not in self.days_off and day not in self.holidays


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """A time limit for a report, as its source states it."""

    code: str
    days: int
    unit: Unit
    start: Start = Start.DAY_AFTER
    source: str = "the site's own rule"


PUBLISHED: Final = (
    Rule(
        code="device-death-user",
        days=10,
        unit=Unit.WORK_DAYS,
        source="21 CFR 803.10(a)(1)(i), 803.30(a)(1)",
    ),
    Rule(
        code="device-injury-user",
        days=10,
        unit=Unit.WORK_DAYS,
        source="21 CFR 803.10(a)(1)(ii), 803.30(a)(2)",
    ),
    Rule(code="event-maker", days=30, unit=Unit.CALENDAR_DAYS, source="21 CFR 803.10(c)(1)"),
    Rule(code="remedial-maker", days=5, unit=Unit.WORK_DAYS, source="21 CFR 803.10(c)(2)"),
    Rule(code="correction-maker", days=10, unit=Unit.WORK_DAYS, source="21 CFR 806.10(b)"),
    Rule(code="tracked-where", days=3, unit=Unit.WORK_DAYS, source="21 CFR 821.25(a)(1)"),
    Rule(code="tracked-patient", days=10, unit=Unit.WORK_DAYS, source="21 CFR 821.25(a)(2)"),
)
"""Limits from published law; which of them binds a site is for the site to say."""


def due(aware: date, rule: Rule, calendar: WorkCalendar) -> date:
    """Return the last day that is still in time, for a site that became aware on `aware`.

    Calendar days are counted as they come: a due day on a holiday is not moved.

    Raises:
        ValueError: fewer than one day, or a calendar without work days for ten years.
    """
    if rule.days < 1:
        msg = "a time limit is at least one day"
        raise ValueError(msg)
    if rule.unit is Unit.CALENDAR_DAYS:
        return aware + timedelta(days=rule.days - (rule.start is Start.SAME_DAY))
    day = aware if rule.start is Start.DAY_AFTER else aware - timedelta(days=1)
    for _ in range(rule.days):
        day = _next_work_day(day, calendar)
    return day


def _next_work_day(day: date, calendar: WorkCalendar) -> date:
    """Return the first work day after `day`."""
    for ahead in range(1, _LONGEST):
        if calendar.is_work_day(day + timedelta(days=ahead)):
            return day + timedelta(days=ahead)
    msg = f"no work day within {_LONGEST} days after {day}"
    raise ValueError(msg)


def work_days_left(today: date, due_on: date, calendar: WorkCalendar) -> int:
    """Return the work days after `today` up to and including the due day; negative when past."""
    sign = 1 if due_on >= today else -1
    first, last = sorted((today, due_on))
    days = (first + timedelta(days=n) for n in range(1, (last - first).days + 1))
    return sign * sum(calendar.is_work_day(day) for day in days)
