"""A form: which keys it needs, and who answers."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from math import isnan
from typing import Any, Final
from zoneinfo import ZoneInfo

from traceability.domain.days import last_day_of_month, moment

Given = Mapping[str, Any]


class BadValue(Exception):
    """The value cannot be answered; the text says what is wrong with it."""


@dataclass(frozen=True, slots=True)
class Form:
    """The first form of an area whose keys are all there answers the value."""

    keys: tuple[str, ...]
    answer: Callable[[Given], Any]

    def fits(self, given: Given) -> bool:
        return all(key in given for key in self.keys)


MONTH_ONLY: Final = len("2028-02")


def zone(given: Given) -> ZoneInfo:
    try:
        return ZoneInfo(given["zone"])
    except (KeyError, ValueError, OSError, TypeError, AttributeError) as wrong:
        raise BadValue(f"no time zone is called {given.get('zone')!r}") from wrong


def wall(text: Any) -> datetime:
    """Return a wall-clock time, which has no zone of its own."""
    try:
        at = datetime.fromisoformat(text)
    except (TypeError, ValueError) as wrong:
        raise BadValue(f"{text!r} is no local date and time") from wrong
    if at.tzinfo is not None:
        raise BadValue(f"{text!r} should be local time without an offset")
    return at


def local(given: Given, key: str) -> datetime:
    return moment(wall(given[key]), zone(given))


def aware(text: Any) -> datetime:
    try:
        at = datetime.fromisoformat(text)
    except (TypeError, ValueError) as wrong:
        raise BadValue(f"{text!r} is no date and time") from wrong
    if at.tzinfo is None:
        raise BadValue(f"{text!r} says no offset")
    return at.astimezone(UTC)


def day(text: Any) -> date:
    """Return a printed date; of a month without a day, its last."""
    try:
        if len(text) == MONTH_ONLY:
            return last_day_of_month(int(text[:4]), int(text[5:]))
        return date.fromisoformat(text)
    except (TypeError, ValueError) as wrong:
        raise BadValue(f"{text!r} is no date") from wrong


def number(given: Given, key: str, *, least: float | None = None) -> float:
    value = given[key]
    if isinstance(value, bool) or not isinstance(value, int | float) or isnan(value):
        raise BadValue(f"{key} is {value!r}, not a number")
    if least is not None and value < least:
        raise BadValue(f"{key} is {value!r}; at least {least} is needed")
    return value


def whole(given: Given, key: str, *, least: int = 0) -> int:
    value = number(given, key, least=least)
    if value != int(value):
        raise BadValue(f"{key} is {value!r}, not a whole number")
    return int(value)


def utc_text(at: datetime) -> str:
    seconds = at.astimezone(UTC).isoformat(timespec="seconds")
    return seconds.replace("+00:00", "Z")


def local_text(at: datetime, here: ZoneInfo) -> str:
    return at.astimezone(here).isoformat(timespec="minutes")


def hours(length: timedelta) -> float | int:
    spent = length / timedelta(hours=1)
    return int(spent) if spent == int(spent) else round(spent, 6)
