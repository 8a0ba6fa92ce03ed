"""Local days and wall-clock times turned into moments, clock changes included.

The rule everywhere: never the later choice. A wall time that the clocks jump over is the moment
of the jump; a wall time that happens twice is the first of the two.
Source: common practice, no source (design rule "day arithmetic"); zone data: tz database.
"""

from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

__all__ = ["days_later", "end_of_day", "hours_later", "last_day_of_month", "moment", "start_of_day"]


def moment(wall: datetime, zone: ZoneInfo) -> datetime:
    """Return the aware UTC moment at which clocks in `zone` show the naive `wall` time.

    Raises:
        ValueError: `wall` carries a zone of its own, which would contradict the question.
    """
    if wall.tzinfo is not None:
        msg = "a wall-clock time carries no zone"
        raise ValueError(msg)
    first = wall.replace(tzinfo=zone, fold=0).astimezone(UTC)
    if first.astimezone(zone).replace(tzinfo=None) == wall:
        return first
    # Clocks jumped over this time. The two foldings lie either side of the jump.
    before = wall.replace(tzinfo=zone, fold=1).astimezone(UTC)
    return _jump_between(before, first, zone)


def _jump_between(before: datetime, after: datetime, zone: ZoneInfo) -> datetime:
    """Return the first whole second after `before` that has the offset of `after`."""
    old = before.astimezone(zone).utcoffset()
    low, high = 0, int((after - before).total_seconds())
    while high - low > 1:
        middle = (low + high) // 2
        if (before + timedelta(seconds=middle)).astimezone(zone).utcoffset() == old:
            low = middle
        else:
            high = middle
    return before + timedelta(seconds=high)


def days_later(at: datetime, days: int, zone: ZoneInfo) -> datetime:
    """Return the same wall-clock time `days` calendar days later, as aware UTC.

    `at` is aware. Raises ValueError for a naive `at`, OverflowError past the year 9999.
    """
    if at.tzinfo is None:
        msg = "an aware time is needed"
        raise ValueError(msg)
    local = at.astimezone(zone)
    if days == 0:
        return at.astimezone(UTC)
    return moment(local.replace(tzinfo=None, fold=0) + timedelta(days=days), zone)


def hours_later(at: datetime, hours: float) -> datetime:
    """Return the moment `hours` real (elapsed) hours later, as aware UTC."""
    if at.tzinfo is None:
        msg = "an aware time is needed"
        raise ValueError(msg)
    return at.astimezone(UTC) + timedelta(hours=hours)


def start_of_day(day: date, zone: ZoneInfo) -> datetime:
    """Return the first moment of a local day, as aware UTC."""
    return moment(datetime.combine(day, time()), zone)


def end_of_day(day: date, zone: ZoneInfo) -> datetime:
    """Return the first moment that is past a local day, as aware UTC."""
    return start_of_day(day + timedelta(days=1), zone)


def last_day_of_month(year: int, month: int) -> date:
    """Return the last day of a month: how an expiry printed without a day is read.

    Source: GS1 day "00" is the end of the month; the same rule for plain print is common practice.

    Raises:
        ValueError: there is no such month. Reckoned with, a thirteenth would be January.
    """
    date(year, month, 1)
    first_of_next = date(year + month // 12, month % 12 + 1, 1)
    return first_of_next - timedelta(days=1)


@lru_cache(maxsize=4096)
def last_day_of_use(printed: str) -> date:
    """Return the last day of use of an expiry as printed: "2027-03-31", or "2027-03" for a month.

    Raises:
        ValueError: it is neither.
    """
    if len(printed) == len("2027-03"):
        year, month = printed.split("-")
        return last_day_of_month(int(year), int(month))
    return date.fromisoformat(printed)
