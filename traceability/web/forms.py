"""Reading forms: moments in the unit's time, numbers as people write them."""

from datetime import datetime, timedelta

from flask import request

from traceability.errors import BadValue
from traceability.web.session import services


def moment_of(name: str) -> datetime:
    """Return the moment of a field in the unit's wall clock time; now if it was left empty.

    A wall time in the repeated hour of autumn is the first of the two, and one in spring's gap is
    the moment the clock jumps: never the later choice.

    Raises:
        BadValue: it is no date and time.
    """
    text = (request.form.get(name) or "").strip()
    ours = services()
    if not text:
        return ours.now()
    try:
        given = datetime.fromisoformat(text)
    except ValueError:
        raise BadValue(field=name.replace("_", " "), value=text, why="no-moment") from None
    if given.tzinfo is not None:
        return given
    zone = ours.settings.zone_info
    local = given.replace(tzinfo=zone)
    back = datetime.fromtimestamp(local.timestamp(), tz=zone)
    if back.replace(tzinfo=None) == given:
        return local
    # In the gap: walk to the jump, whose wall time before and after both exist.
    jump = local.replace(fold=1)
    while (jump - timedelta(minutes=1)).utcoffset() == jump.utcoffset():
        jump = datetime.fromtimestamp(jump.timestamp() - 60, tz=zone)
    return jump


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
    return at


def whole(name: str, *, default: int | None = None) -> int:
    """Return a whole number of the form.

    Raises:
        BadValue: it is none.
    """
    text = (request.form.get(name) or "").strip()
    if not text and default is not None:
        return default
    if not text.isascii() or not text.isdigit():
        raise BadValue(field=name.replace("_", " "), value=text, why="no-number")
    return int(text)


def thousandths(name: str) -> int | None:
    """Return a decimal such as "1.5" or "1,5" times 1000; None if it was left empty.

    Raises:
        BadValue: it is no such number.
    """
    text = (request.form.get(name) or "").strip().replace(",", ".")
    if not text:
        return None
    before, _, after = text.partition(".")
    digits = before + after
    if not digits.isascii() or not digits.isdigit() or len(after) > 3:  # noqa: PLR2004
        raise BadValue(field=name.replace("_", " "), value=text, why="no-number")
    return int(before or "0") * 1000 + int(after.ljust(3, "0"))


def checked(name: str) -> bool:
    """Tell whether a box was ticked."""
    return request.form.get(name) in {"1", "on", "yes"}
