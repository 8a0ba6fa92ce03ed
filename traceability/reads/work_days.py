"""The days on which the site works."""

from dataclasses import dataclass
from datetime import date
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.storage.notice_lookup import work_calendar


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkDaysFacts:
    """The days in force."""

    version: int
    days_off: frozenset[int]
    holidays: tuple[date, ...]


def work_days(session: Session, site_id: UUID) -> WorkDaysFacts:
    """Return the days in force; Saturday and Sunday off where nobody has set any."""
    version, calendar = work_calendar(session, site_id)
    return WorkDaysFacts(
        version=version,
        days_off=calendar.days_off,
        holidays=tuple(sorted(calendar.holidays)),
    )
