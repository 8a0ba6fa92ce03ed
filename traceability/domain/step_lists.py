"""Lists of steps as they are kept, as they are written in a file, and what makes one sound.

A file is TOML, UTF-8, for one way of priming; `demo_data/step_lists` holds examples. Nothing of a
file is kept until a person has looked at it on the page and saved it.
"""

import re
import tomllib
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from decimal import Decimal, InvalidOperation
from typing import Any, Final

from traceability.domain.events import Plain
from traceability.domain.readings import MOST_DIGITS, THOUSAND, Measure, Unit, measure_of
from traceability.domain.steps import NO_SOURCE, Fills, Reading, Step, StepList
from traceability.domain.use_by import Way

MOST_STEPS: Final = 60
MOST_READINGS: Final = 4
LONGEST_NAME: Final = 60
LONGEST_NOTE: Final = 160
MOST_MINUTES: Final = 240
LARGEST_FILE: Final = 100_000
"""Bytes. Own choices: what a page can show and a person can follow."""

FILLS_MEASURE: Final = {Fills.FILL: Measure.VOLUME, Fills.CO2: Measure.FLOW}

_ID: Final = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")


def require_sound(steps: StepList) -> None:
    """Check a list.

    Raises:
        ValueError: says which step and why, as a sentence for who wrote the list.
    """
    if not 1 <= len(steps.steps) <= MOST_STEPS:
        raise ValueError(f"A list has 1 to {MOST_STEPS} steps; this one has {len(steps.steps)}")
    _require_once("step", [step.id for step in steps.steps])
    for step in steps.steps:
        _require_sound_step(step)


def _require_once(what: str, ids: Sequence[str]) -> None:
    for each in ids:
        if not _ID.fullmatch(each) or len(each) > LONGEST_NAME:
            raise ValueError(
                f"The short name {each[:LONGEST_NAME]!r} of a {what} may have lower-case letters, "
                "digits and hyphens between them"
            )
        if ids.count(each) > 1:
            raise ValueError(f"Two {what}s have the short name {each}")


def _require_sound_step(step: Step) -> None:
    name = step.name
    if not name or len(name) > LONGEST_NAME:
        raise ValueError(f"Step {step.id}: give it a name of 1 to {LONGEST_NAME} characters")
    if len(step.note) > LONGEST_NOTE or len(step.source) > LONGEST_NOTE:
        raise ValueError(f"{name}: note and source have at most {LONGEST_NOTE} characters each")
    if step.minutes is not None and not 1 <= step.minutes <= MOST_MINUTES:
        raise ValueError(f"{name}: it can take 1 to {MOST_MINUTES} minutes")
    if len(step.readings) > MOST_READINGS:
        raise ValueError(f"{name}: a step asks for at most {MOST_READINGS} readings")
    _require_once(f"reading of {name}", [each.id for each in step.readings])
    for each in step.readings:
        if not each.name or len(each.name) > LONGEST_NAME:
            raise ValueError(f"{name}: give each reading a name of 1 to {LONGEST_NAME} characters")
        if each.least is not None and each.most is not None and each.least > each.most:
            raise ValueError(f"{name}, {each.name}: the least is more than the most")
        wanted = FILLS_MEASURE.get(each.fills)
        if wanted is not None and measure_of(each.unit) is not wanted:
            raise ValueError(f"{name}, {each.name}: that field of the prime's end is a {wanted}")


def short_name(name: str, taken: Iterable[str]) -> str:
    """Return a short name made of a name's letters, unlike those taken."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    words = re.findall(r"[a-z0-9]+", plain)[:4]
    made, used, number = "-".join(words)[:40] or "step", set(taken), 1
    found = made
    while found in used:
        number += 1
        found = f"{made}-{number}"
    return found


def list_body(steps: StepList) -> dict[str, object]:
    """Return the list as the plain values that an event's body holds."""
    return asdict(steps)


def read_list(body: Mapping[str, Plain]) -> StepList:
    """Return the list of an event's body."""
    return StepList(
        way=str(body["way"]),
        version=int(str(body["version"])),
        steps=tuple(_step(row) for row in _rows(body["steps"])),
    )


def _rows(value: Plain) -> list[Mapping[str, Plain]]:
    return [row for row in value if isinstance(row, Mapping)] if isinstance(value, list) else []


def _step(row: Mapping[str, Plain]) -> Step:
    minutes, types = row["minutes"], row["circuit_types"]
    return Step(
        id=str(row["id"]),
        name=str(row["name"]),
        note=str(row["note"]),
        readings=tuple(
            Reading(
                id=str(each["id"]),
                name=str(each["name"]),
                unit=Unit(str(each["unit"])),
                least=_whole_or_none(each["least"]),
                most=_whole_or_none(each["most"]),
                fills=Fills(str(each["fills"])),
                source=str(each["source"]),
            )
            for each in _rows(row["readings"])
        ),
        both=row["both"] is True,
        minutes=_whole_or_none(minutes),
        circuit_types=tuple(str(each) for each in types) if isinstance(types, list) else (),
        source=str(row["source"]),
    )


def _whole_or_none(value: Plain) -> int | None:
    return None if value is None else int(str(value))


def list_of_file(data: bytes) -> StepList:
    """Return the list that a TOML file holds, as version 0: nothing of it is kept yet.

    Raises:
        ValueError: says what cannot be read, and where.
    """
    if len(data) > LARGEST_FILE:
        raise ValueError("The file is far too large for a list of steps")
    try:
        given = tomllib.loads(data.decode("utf-8-sig"), parse_float=Decimal)
    except UnicodeDecodeError:
        raise ValueError("The file is not written in UTF-8") from None
    except tomllib.TOMLDecodeError as wrong:
        raise ValueError(f"The file is not TOML: {wrong}") from None
    except RecursionError:
        raise ValueError("The file is not a list of steps") from None
    _require_only(given, {"way", "steps"}, "the file")
    way = given.get("way")
    if way not in {each.value for each in Way}:
        raise ValueError(f"way: choose one of {', '.join(Way)}")
    rows = _tables(given, "steps", "the file")
    steps = StepList(way=str(way), version=0, steps=tuple(_told(row) for row in rows))
    require_sound(steps)
    return steps


_STEP_FIELDS: Final = {
    "id", "name", "note", "both", "minutes", "circuit_types", "source", "readings",
}  # fmt: skip
_READING_FIELDS: Final = {"id", "name", "unit", "least", "most", "fills", "source"}


def _told(row: Mapping[str, Any]) -> Step:
    where = f"step {row.get('name') or row.get('id') or '?'}"[:80]
    _require_only(row, _STEP_FIELDS, where)
    types = row.get("circuit_types", [])
    if not isinstance(types, list) or not all(isinstance(each, str) for each in types):
        raise ValueError(f"{where}: circuit_types is a list of names")
    minutes = row.get("minutes")
    if minutes is not None and type(minutes) is not int:
        raise ValueError(f"{where}: minutes is a whole number")
    if type(row.get("both", False)) is not bool:
        raise ValueError(f"{where}: both is true or false")
    name = _text(row, "name", where)
    return Step(
        id=_text(row, "id", where) or short_name(name, ()),
        name=name,
        note=_text(row, "note", where),
        readings=tuple(_told_reading(each, where) for each in _tables(row, "readings", where)),
        both=row.get("both", False),
        minutes=minutes,
        circuit_types=tuple(types),
        source=_text(row, "source", where) or NO_SOURCE,
    )


def _told_reading(row: Mapping[str, Any], step: str) -> Reading:
    where = f"{step}, reading {row.get('name') or row.get('id') or '?'}"[:120]
    _require_only(row, _READING_FIELDS, where)
    name = _text(row, "name", where)
    try:
        unit, fills = Unit(_text(row, "unit", where)), Fills(_text(row, "fills", where))
    except ValueError:
        units = ", ".join(Unit)
        raise ValueError(
            f"{where}: the unit is one of {units}; fills is fill, co2 or left out"
        ) from None
    return Reading(
        id=_text(row, "id", where) or short_name(name, ()),
        name=name,
        unit=unit,
        least=limit_in(row.get("least"), where),
        most=limit_in(row.get("most"), where),
        fills=fills,
        source=_text(row, "source", where) or NO_SOURCE,
    )


def limit_in(value: object, where: str) -> int | None:
    """Return an end of a range in thousandths; None where there is none.

    Raises:
        ValueError: it is no number with at most three digits behind the decimal sign.
    """
    text = str(value).strip().replace(",", ".") if type(value) in {int, str, Decimal} else value
    if text in {None, ""}:
        return None
    try:
        number = Decimal(str(text))
    except InvalidOperation:
        raise ValueError(f"{where}: {str(value)[:20]} is no number") from None
    if not number.is_finite():
        raise ValueError(f"{where}: {str(value)[:20]} is no number")
    is_short = number.adjusted() < MOST_DIGITS  # a number of a billion digits is never made
    whole = int(number * THOUSAND) if is_short else 0
    if not is_short or whole != number * THOUSAND:
        raise ValueError(f"{where}: {str(value)[:20]} has too many digits")
    return whole


def _tables(row: Mapping[str, Any], name: str, where: str) -> list[Mapping[str, Any]]:
    found = row.get(name, [])
    if not isinstance(found, list) or not all(isinstance(each, dict) for each in found):
        raise ValueError(f"{where}: write [[{name}]] above each of them")
    return found


def _text(row: Mapping[str, Any], name: str, where: str) -> str:
    value = row.get(name, "")
    if not isinstance(value, str):
        raise ValueError(f"{where}: {name} is a text in quotation marks")
    return " ".join(value.split())


def _require_only(row: Mapping[str, Any], known: set[str], where: str) -> None:
    strange = sorted(set(row) - known)
    if strange:
        raise ValueError(f"{where}: {strange[0][:40]} is nothing that is known here")
