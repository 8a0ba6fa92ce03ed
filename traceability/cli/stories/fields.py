"""Fields of a story's file: each reader returns what stands there, or says what is wrong with it.

All raise BadStory; `where` names the fact, question or item in its sentence.
"""

from collections.abc import Mapping
from datetime import UTC, date, datetime
from typing import Any, TypeAlias

Given: TypeAlias = Mapping[str, Any]


class BadStory(ValueError):
    """The file is not a story; the message says what to put right."""


def moment(text: str) -> datetime:
    """Return a time of the file, aware UTC.

    Raises:
        ValueError: it is none, or says no zone.
    """
    at = datetime.fromisoformat(text)
    if at.tzinfo is None:
        raise ValueError(text)
    return at.astimezone(UTC)


def a_list(given: Given, name: str, where: str) -> list[Any]:
    """Return a list."""
    value = given.get(name)
    if not isinstance(value, list):
        raise BadStory(f"{where}: {name} is {_shown(given, name)}, not a list")
    return value


def an_object(given: Given, name: str, where: str) -> dict[str, Any]:
    """Return an object."""
    value = given.get(name)
    if not isinstance(value, dict):
        raise BadStory(f"{where}: {name} is {_shown(given, name)}, not an object")
    return value


def a_text(given: Given, name: str, where: str) -> str:
    """Return a text that says something."""
    value = given.get(name)
    if not isinstance(value, str) or not value.strip():
        raise BadStory(f"{where}: {name} is {_shown(given, name)}, not a text")
    return value


def text_or_none(given: Given, name: str, where: str) -> str | None:
    """Return a text, or None where there is none."""
    return None if given.get(name) is None else a_text(given, name, where)


def a_count(given: Given, name: str, where: str) -> int:
    """Return how many pieces; 1 or more."""
    value = given.get(name)
    if not isinstance(value, int) or isinstance(value, bool) or value < 1:
        raise BadStory(f"{where}: {name} is {_shown(given, name)}, not a number of pieces")
    return value


def a_flag(given: Given, name: str, where: str) -> bool:
    """Return yes or no."""
    value = given.get(name)
    if not isinstance(value, bool):
        raise BadStory(f"{where}: {name} is {_shown(given, name)}, neither true nor false")
    return value


def a_moment(given: Given, name: str, where: str) -> datetime:
    """Return a time, aware UTC."""
    text = a_text(given, name, where)
    try:
        return moment(text)
    except (ValueError, OverflowError):
        raise BadStory(f"{where}: {name} {text!r} is not a time with its zone") from None


def moment_or_none(given: Given, name: str, where: str) -> datetime | None:
    """Return a time, or None where there is none."""
    return None if given.get(name) is None else a_moment(given, name, where)


def day_or_none(given: Given, name: str, where: str) -> date | None:
    """Return a day, or None where there is none."""
    text = text_or_none(given, name, where)
    try:
        return None if text is None else date.fromisoformat(text)
    except ValueError:
        raise BadStory(f"{where}: {name} {text!r} is not a day YYYY-MM-DD") from None


def texts(given: Given, name: str, where: str) -> tuple[str, ...]:
    """Return a list of texts."""
    values = a_list(given, name, where)
    if not all(isinstance(value, str) and value.strip() for value in values):
        raise BadStory(f"{where}: {name} holds {values!r}, not texts only")
    return tuple(values)


def _shown(given: Given, name: str) -> str:
    return repr(given[name])[:60] if name in given else "missing"
