"""Set the days on which the site works: weekdays off, and holidays."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import ClassVar, Final

from sqlalchemy.orm import Session

from traceability.actions.once import Asked, Done, Site, answer_once
from traceability.actions.single import one_event
from traceability.domain.deadlines import WorkCalendar
from traceability.domain.events import Kind
from traceability.domain.people import Right
from traceability.errors import BadValue, StaleForm
from traceability.storage.notice_lookup import work_calendar

MOST_HOLIDAYS: Final = 2000
"""A hundred years of twenty; more is a wrong file."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SetWorkDays(Asked):
    """Which days count as work days from now on; what was due before stays due."""

    kind: ClassVar[str] = "set-work-days"
    right: ClassVar[Right | None] = Right.NOTICES
    days_off: Sequence[int]
    """Weekdays, Monday = 0."""
    holidays: Sequence[date]
    read_version: int


def set_work_days(asked: SetWorkDays, *, site: Site) -> Done:
    """Record the next version.

    Raises:
        BadValue: no weekday is left, or far too many holidays. StaleForm: somebody set another
        version meanwhile. Nothing was written.
    """
    return answer_once(asked, _set, site)


def _set(asked: SetWorkDays, session: Session, site: Site) -> Done:
    version, _ = work_calendar(session, site.id)
    if version != asked.read_version:
        raise StaleForm(number=version)
    if len(asked.holidays) > MOST_HOLIDAYS:
        raise BadValue(field="holidays", value=str(len(asked.holidays)), why="too-long")
    try:
        calendar = WorkCalendar(
            holidays=frozenset(asked.holidays), days_off=frozenset(asked.days_off)
        )
    except ValueError:
        raise BadValue(field="weekdays", value="", why="no-work-day") from None
    if not calendar.days_off <= set(range(7)):
        raise BadValue(field="weekdays", value="", why="no-work-day")
    body = {
        "version": version + 1,
        "days_off": sorted(calendar.days_off),
        "holidays": sorted(each.isoformat() for each in calendar.holidays),
    }
    return one_event(asked, session, site, Kind.WORK_DAYS_SET, body)
