"""Reading forms: moments in the unit's time, numbers as people write them."""

from datetime import UTC, datetime
from typing import Final
from uuid import UUID

from flask import request
from werkzeug.datastructures import MultiDict

from traceability.domain.days import moment
from traceability.domain.moments import Manner
from traceability.errors import BadValue
from traceability.web.session import door, services
from traceability.web.sign_in import badge_code


def moment_of(name: str, fields: MultiDict[str, str] | None = None) -> datetime:
    """Return the moment of a field in the unit's wall clock time; now if it was left empty.

    `fields` are the form's, or those of an address.

    A wall time in the repeated hour of autumn is the first of the two, and one in spring's gap is
    the moment the clock jumps: never the later choice.

    Raises:
        BadValue: it is no date and time.
    """
    text = ((request.form if fields is None else fields).get(name) or "").strip()
    ours = services()
    if not text:
        return ours.now()
    try:
        given = datetime.fromisoformat(text)
        return given.astimezone(UTC) if given.tzinfo else moment(given, ours.settings.zone_info)
    except (ValueError, OverflowError):
        raise BadValue(field=name.replace("_", " "), value=text, why="no-moment") from None


def device_moment(text: object) -> datetime:
    """Return the moment a script sent, in ISO form with an offset; now if it sent none.

    Raises:
        BadValue: no moment, or one without an offset.
    """
    if not text:
        return services().now()
    try:
        at = datetime.fromisoformat(str(text))
    except ValueError:
        raise BadValue(field="at", value=str(text), why="no-moment") from None
    if at.tzinfo is None:
        raise BadValue(field="at", value=str(text), why="no-offset")
    try:
        return at.astimezone(UTC)
    except OverflowError:
        raise BadValue(field="at", value=str(text), why="no-moment") from None


MOST_DIGITS: Final = 9
"""No count, volume or entry number here is longer, and every store holds so many."""


def number_in(text: str) -> int | None:
    """Return the whole number that a text of plain digits says; None: it says none."""
    plain = text.isascii() and text.isdigit() and len(text) <= MOST_DIGITS
    return int(text) if plain else None


def whole(name: str, *, default: int | None = None) -> int:
    """Return a whole number of the form.

    Raises:
        BadValue: it is none.
    """
    text = (request.form.get(name) or "").strip()
    if not text and default is not None:
        return default
    number = number_in(text)
    if number is None:
        raise BadValue(field=name.replace("_", " "), value=text, why="no-number")
    return number


def thousandths_in(text: str) -> int | None:
    """Return a decimal such as "1.5" or "1,5" times 1000; None: it is no such number."""
    before, _, after = text.strip().replace(",", ".").partition(".")
    number = number_in(before + after.ljust(3, "0"))
    return number if before + after and len(after) <= 3 else None  # noqa: PLR2004


def thousandths(name: str, fields: MultiDict[str, str] | None = None) -> int | None:
    """Return a decimal of the form times 1000; None if it was left empty.

    Raises:
        BadValue: it is no such number.
    """
    text = ((request.form if fields is None else fields).get(name) or "").strip()
    if not text:
        return None
    number = thousandths_in(text)
    if number is None:
        raise BadValue(field=name.replace("_", " "), value=text, why="no-number")
    return number


def manner_of() -> Manner:
    """Return how an act of a page comes in: planned, or said again after its refusal."""
    anyway = request.form.get("way_on") == "record-anyway"
    return Manner.ANYWAY if anyway else Manner.PLANNED


def who_goes_on() -> UUID | None:
    """Return whose badge goes on past a caution; None: who is signed in."""
    badge = request.form.get("by_badge", "")
    return door().person_of_badge(badge_code(badge)) if badge.strip() else None


def minutes(name: str) -> int | None:
    """Return hours such as "1.5" or "1,5" in whole minutes; None if they were left empty.

    Raises:
        BadValue: it is no such number.
    """
    hours = thousandths(name)
    return None if hours is None else round(hours * 60 / 1000)


def checked(name: str) -> bool:
    """Tell whether a box was ticked."""
    return request.form.get(name) in {"1", "on", "yes"}
