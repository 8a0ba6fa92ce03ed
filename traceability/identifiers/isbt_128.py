"""ISBT 128 data structures: identifiers, lengths and the donation number's check value.

Structure only. The code tables behind the values (blood groups, products, facilities) are the
standard owner's and licensed; none is here, and whoever deploys must be registered with ICCBBA.

Source: ICCBBA ST-001 v6.2.2 (April 2023), sections 2.4.1-2.4.5, 2.4.39-2.5.3, tables 3-5. Lengths
of the other structures (006-036) from a public table that cites ST-001 by section; those marked
"memory" in the table from memory.
"""

# ruff: noqa: PLR2004 - lengths and limits are the standard's own, named where they are used

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import Final

from .checks import ISO_7064_ALPHABET, iso_7064_mod_37_2
from .faulty import Faulty, require_characters
from .gs1_dates import long_day, month_end, ordinal_day
from .reading import Element, Fault, Reading, Source, Standard, Status

__all__ = ["read_isbt_128"]

_DIGITS: Final = frozenset("0123456789")
_UPPER: Final = frozenset("ABCDEFGHIJKLMNOPQRSTUVWXYZ")
_ANY: Final = _DIGITS | _UPPER | frozenset("abcdefghijklmnopqrstuvwxyz")
_FACILITY_FIRST: Final = (_UPPER | _DIGITS) - {"O", "0"}
_DONATION_LENGTH: Final = 15
_COMPOUND: Final = "=+"

Day = tuple[date | None, str | None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Structure:
    """One data structure: how long, of what, and what it means to us."""

    length: int
    meaning: str = ""
    facility: bool = False
    """Begins with a facility number, whose first character is never O or 0."""
    day: Callable[[str], Day] | None = None
    digits: bool = False
    private: bool = False


def _ordinal(written: str) -> Day:
    """Read cyyjjj and, behind it, hhmm; the first digit counts centuries from 20, 9 is 19."""
    century = 1900 if written[0] == "9" else 2000 + 100 * int(written[0])
    day = ordinal_day(century + int(written[1:3]), int(written[3:6]))
    clock = written[6:] or None
    if clock and not (int(clock[:2]) < 24 and int(clock[2:]) < 60):
        day = None
    return day, clock


def _month(written: str) -> Day:
    year = int(written[:4])
    return (month_end(year, int(written[4:])) if year else None), None


def _calendar(written: str) -> Day:
    return long_day(written), None


def _dated(length: int, meaning: str = "") -> Structure:
    return Structure(length=length, meaning=meaning, day=_ordinal, digits=True)


_STRUCTURES: Final = {
    "=%": Structure(length=4),
    "=<": Structure(length=8),
    "=>": _dated(6, "expiry"),
    "&>": _dated(10, "expiry"),
    "=*": _dated(6),
    "&*": _dated(10),
    "=}": _dated(6, "made"),
    "&}": _dated(10, "made"),
    "&(": Structure(length=5),
    "={": Structure(length=18),
    "=\\": Structure(length=18),
    "&\\": Structure(length=18),
    "&{": Structure(length=18),
    "=[": Structure(length=18),
    '="': Structure(length=18),
    "=)": Structure(length=10),
    "&)": Structure(length=10, meaning="lot"),
    "=;": Structure(length=21, facility=True, private=True),  # memory
    "='": Structure(length=11, facility=True, private=True),  # memory
    "=-": Structure(length=10),
    "&-": Structure(length=10, meaning="lot"),
    "=+": Structure(length=5, digits=True),
    "=#": Structure(length=8, day=_calendar, digits=True, private=True),  # memory
    "&#": Structure(length=21, facility=True, private=True),  # memory
    "=]": Structure(length=6, meaning="expiry", day=_month, digits=True),
    '&"': Structure(length=18),
    "&$": Structure(length=10),  # memory
    "&%": Structure(length=18),  # memory
    "=(": Structure(length=18),  # memory
    "=,": Structure(length=6, meaning="serial"),
    "&+": Structure(length=11, facility=True),
    "=/": Structure(length=16, meaning="product", facility=True),
    "&,1": Structure(length=18, meaning="lot"),
    "&,2": Structure(length=18),
    "&:": Structure(length=19),  # memory
}
"""By data identifier. Collection dates ("=*", "&*") are no manufacture."""


def read_isbt_128(body: str, source: Source) -> Reading:
    """Return the reading of one structure, several in a row, or a compound message.

    Args:
        body: the data, beginning with "=" or "&".
        source: what `body` belongs to.
    """
    elements: list[Element] = []
    try:
        _split(body, elements)
        unique = _without_repeats(elements)
    except Faulty as wrong:
        return Reading(
            text=source.text,
            symbology_identifier=source.symbology_identifier,
            status=Status.REJECTED,
            standard=Standard.ISBT_128,
            elements=tuple(elements),
            reason_codes=(wrong.code,),
            faults=(Fault(code=wrong.code, position=source.offset + wrong.at),),
            private=_names_a_person(elements) or any(mark in body for mark in _OF_PERSONS),
        )
    meant: dict[str, str] = {}
    days: dict[str, Day] = {}
    day_given = True
    for identifier, value in unique:
        structure = _STRUCTURES.get(identifier)
        if structure is None or not structure.meaning:
            continue
        if structure.day is None:
            meant.setdefault(structure.meaning, value)
        elif structure.meaning not in days:
            days[structure.meaning] = structure.day(value)
            if identifier == "=]":
                day_given = False
    expiry, clock = days.get("expiry", (None, None))
    return Reading(
        text=source.text,
        symbology_identifier=source.symbology_identifier,
        status=Status.OK,
        standard=Standard.ISBT_128,
        device_identifier=meant.get("product"),
        lot=meant.get("lot"),
        serial=meant.get("serial"),
        expiry=expiry,
        expiry_day_given=day_given,
        expiry_time=clock,
        made=days.get("made", (None, None))[0],
        elements=unique,
        private=_names_a_person(elements),
    )


def _split(body: str, elements: list[Element]) -> None:
    at = 0
    announced = None
    while at < len(body):
        identifier = _identifier(body, at)
        start = at + len(identifier)
        length = _DONATION_LENGTH if identifier == "=" else _STRUCTURES[identifier].length
        value = body[start : start + length]
        cut = next((i for i, character in enumerate(value) if character in "=&"), len(value))
        if cut < length:
            raise Faulty("bad-length", start + cut)
        at = start + length
        if at < len(body) and body[at] not in "=&":
            raise Faulty("bad-length", at)
        elements.append((identifier, value))
        if identifier == "=":
            _donation(value, start)
        else:
            _structure(value, start, _STRUCTURES[identifier])
        if identifier == _COMPOUND:
            if announced is not None or start != 2:
                raise Faulty("unknown-identifier", start)
            announced = int(value[:2])
    if announced is not None and announced != len(elements) - 1:
        raise Faulty("bad-length", 2)


def _identifier(body: str, at: int) -> str:
    head = body[at : at + 2]
    if len(head) < 2:
        raise Faulty("bad-length", at)
    if head == "&,":
        head = body[at : at + 3]
    if head[0] == "=" and head[1] in _FACILITY_FIRST:
        return "="
    if head not in _STRUCTURES:
        raise Faulty("unknown-identifier", at)
    return head


def _donation(value: str, at: int) -> None:
    """Verify a donation number: facility, year, sequence, and flags that carry the check value.

    Source: ST-001 section 2.4.1 and table 3; flags 60-96 are 60 + the MOD 37-2 value.
    """
    require_characters(value[0], _FACILITY_FIRST, at)
    require_characters(value[1:13], _DIGITS, at + 1)
    require_characters(value[13:], _DIGITS | _UPPER, at + 13)
    flags = value[13:]
    if flags.isdigit() and 60 <= int(flags) <= 96:
        expected = ISO_7064_ALPHABET.index(iso_7064_mod_37_2(value[:13]))
        if int(flags) - 60 != expected:
            raise Faulty("bad-check-digit", at + 13)


def _structure(value: str, at: int, structure: Structure) -> None:
    if structure.facility:
        require_characters(value[0], _FACILITY_FIRST, at)
    require_characters(value, _DIGITS if structure.digits else _ANY, at)
    if structure.day is not None and structure.day(value)[0] is None:
        raise Faulty("bad-date", at)


def _without_repeats(elements: list[Element]) -> tuple[Element, ...]:
    known: dict[str, str] = {}
    for identifier, value in elements:
        if known.setdefault(identifier, value) != value:
            raise Faulty("repeated-conflict", 0)
    return tuple(known.items())


_OF_PERSONS: Final = tuple(name for name, each in _STRUCTURES.items() if each.private)
"""A patient's number cut short is a patient's number still: in broken data the mark is enough."""


def _names_a_person(elements: list[Element]) -> bool:
    return any(identifier in _OF_PERSONS for identifier, _ in elements)
