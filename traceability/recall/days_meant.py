"""Days, months, years and spans as people type them: always with the year first."""

import re
from datetime import date, timedelta
from typing import Final

from traceability.domain.days import last_day_of_month

__all__ = ["days_in"]

_DAY: Final = r"\d{4}(?:-\d{2}(?:-\d{2})?)?"
_SPAN: Final = re.compile(rf"({_DAY})(?:\s*(?:\.\.|to|until|–|/)\s*({_DAY}))?", re.IGNORECASE)
FIRST_YEAR, LAST_YEAR = 1900, 2200
"""A number of four digits outside these is no year here."""


def days_in(text: str, today: date) -> list[tuple[date, date]]:
    """Return first and last day that a text means; nothing where it means none."""
    said = text.strip().lower()
    if said in {"today", "yesterday"}:
        day = today - timedelta(days=said == "yesterday")
        return [(day, day)]
    found = _SPAN.fullmatch(said)
    if found is None:
        return []
    first, last = _stretch(found[1]), _stretch(found[2] or found[1])
    if first is None or last is None or last[1] < first[0]:
        return []
    return [(first[0], last[1])]


def _stretch(text: str) -> tuple[date, date] | None:
    year, *rest = (int(piece) for piece in text.split("-"))
    if not FIRST_YEAR <= year <= LAST_YEAR:
        return None
    try:
        if not rest:
            return date(year, 1, 1), date(year, 12, 31)
        if len(rest) == 1:
            return date(year, rest[0], 1), last_day_of_month(year, rest[0])
        return (day := date(year, *rest)), day
    except ValueError:
        return None
