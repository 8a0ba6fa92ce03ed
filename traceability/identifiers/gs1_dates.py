"""Two-digit years and days that stand for a month's end.

Source: GS1 General Specifications, section 7.12 (century) and section 3.4 (day 00).
"""

# ruff: noqa: PLR2004 - lengths and limits are the standard's own, named where they are used

from calendar import monthrange
from datetime import date
from functools import lru_cache

__all__ = [
    "day_of",
    "full_year",
    "long_day",
    "month_end",
    "ordinal_day",
    "strict_day",
    "years_later",
]


def full_year(two_digits: int, today: date) -> int:
    """Return the year that `two_digits` means on `today`.

    Fifty-one or more ahead is the previous century, fifty or more behind the next.

    Source: GS1 General Specifications, section 7.12.
    """
    this = today.year
    ahead = two_digits - this % 100
    century = this - this % 100
    if ahead >= 51:
        century -= 100
    elif ahead <= -50:
        century += 100
    return century + two_digits


@lru_cache(maxsize=4096)  # every date is asked for twice: once verified, once for its meaning
def day_of(yymmdd: str, today: date) -> date | None:
    """Return the day of six ASCII digits, day 00 being the month's last; None if no such day."""
    try:
        year = full_year(int(yymmdd[:2]), today)
        month = int(yymmdd[2:4])
        return date(year, month, int(yymmdd[4:]) or monthrange(year, month)[1])
    except ValueError:
        return None


def strict_day(yymmdd: str, today: date) -> date | None:
    """Return the day of six ASCII digits; None for day 00 and for what is no day."""
    return None if yymmdd[4:6] == "00" else day_of(yymmdd[:6], today)


def long_day(yyyymmdd: str) -> date | None:
    """Return the day of eight ASCII digits, None if there is no such day."""
    try:
        return date(int(yyyymmdd[:4]), int(yyyymmdd[4:6]), int(yyyymmdd[6:]))
    except ValueError:
        return None


def month_end(year: int, month: int) -> date | None:
    """Return the last day of a month, None if there is no such month."""
    return date(year, month, monthrange(year, month)[1]) if 1 <= month <= 12 else None


def ordinal_day(year: int, day_of_year: int) -> date | None:
    """Return day 1-366 of `year`; None for day 366 of a year with 365 and for day 0."""
    try:
        first = date(year, 1, 1)
        found = date.fromordinal(first.toordinal() + day_of_year - 1)
    except (ValueError, OverflowError):
        return None
    return found if found.year == year else None


def years_later(day: date, years: int) -> date:
    """Return the same day `years` on (or back, if negative); 29 February becomes the 28th."""
    year = min(max(day.year + years, 1), 9999)
    try:
        return day.replace(year=year)
    except ValueError:
        return day.replace(year=year, day=28)
