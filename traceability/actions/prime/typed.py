"""What a person read from the print and typed, where the code itself does not carry it."""

import re
from dataclasses import dataclass, replace
from typing import Final

from traceability.actions.prime.personal import is_personal
from traceability.domain.days import last_day_of_use
from traceability.errors import BadValue
from traceability.identifiers.reading import Reading

LONGEST_TYPED: Final = 40
"""Characters of a lot or serial that a person types. GS1 lots and serials have 20 at most (GS1
General Specifications, AI (10) and AI (21)); others are longer. Own choice, no source."""

AS_PRINTED: Final = re.compile(r"[0-9]{4}-[0-9]{2}(-[0-9]{2})?")
WITH_DAY: Final = len("2027-03-31")


@dataclass(frozen=True, slots=True, kw_only=True)
class Typed:
    """Texts kept as typed, character for character; empty: not typed."""

    lot: str = ""
    serial: str = ""
    expiry: str = ""
    """YYYY-MM-DD, or YYYY-MM where the print names no day."""


def require_typed(typed: Typed) -> Typed:
    """Return what was typed, without blanks around it.

    Raises:
        BadValue: too long, a character that no label prints, or a day that cannot be.
    """
    trimmed = Typed(lot=typed.lot.strip(), serial=typed.serial.strip(), expiry=typed.expiry.strip())
    for field, text in (("lot", trimmed.lot), ("serial", trimmed.serial)):
        if len(text) > LONGEST_TYPED:
            raise BadValue(field=field, value=text[:20], why="too-long")
        if text and not text.isprintable():
            raise BadValue(field=field, value="", why="not-printed")
        if is_personal(text):
            raise BadValue(field=field, value="", why="a-person")
    if trimmed.expiry:
        try:
            if not AS_PRINTED.fullmatch(trimmed.expiry):
                raise ValueError  # other ways to write a day would be kept as what was printed
            last_day_of_use(trimmed.expiry)
        except ValueError:
            raise BadValue(field="expiry", value=trimmed.expiry[:20], why="bad-day") from None
    return trimmed


def completed(reading: Reading, typed: Typed) -> Reading:
    """Return the reading with what was typed; what the code itself says is never replaced."""
    if typed.lot and reading.lot is None:
        reading = replace(reading, lot=typed.lot)
    if typed.serial and reading.serial is None:
        reading = replace(reading, serial=typed.serial)
    if typed.expiry and reading.expiry is None:
        reading = replace(
            reading,
            expiry=last_day_of_use(typed.expiry),
            expiry_day_given=len(typed.expiry) == WITH_DAY,
        )
    return reading
