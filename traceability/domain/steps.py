"""The procedure's own steps: what is done around the parts, in the unit's own list and words.

A list is data that a unit edits; each change is a new version, and a prime keeps the version it was
begun with. There is one list for each way of priming; a step of it may belong to some circuit types
only. The list follows local policy and replaces no training: it reminds and records, and what is
not done, or lies outside its range, is recorded and blocks nothing.
Source of that: common practice, no source; settled in review with people of the trade.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Final
from uuid import UUID

from traceability.domain.moments import ONE_SCAN
from traceability.domain.readings import Unit, number_text, read_value

NO_SOURCE: Final = "common practice, no source"


class StepState(StrEnum):
    """What was said of a step."""

    BEGUN = "begun"
    """Under way: a flush runs. It is still open."""
    DONE = "done"
    NOT_DONE = "not-done"


STEP_ACTS: Final = ("step-begun", "step-done", "step-not-done", "step-outside")
"""Codes of acts at a trolley that say something of a step."""


class NotDone(StrEnum):
    """Why a step was not done."""

    WAITS = "patient-waits"
    NOT_HERE = "not-for-this-circuit"
    NO_MEANS = "not-at-hand"
    OTHER_WAY = "done-another-way"
    ALONE = "nobody-else-there"


class Fills(StrEnum):
    """Which field at the end of the prime a reading says already, so that it is asked only once."""

    NOTHING = ""
    FILL = "fill"
    CO2 = "co2"


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """A number that a step asks for."""

    id: str
    name: str
    unit: Unit
    least: int | None = None
    """Thousandths of the unit; what lies below is looked at again. None: no lower end."""
    most: int | None = None
    fills: Fills = Fills.NOTHING
    source: str = NO_SOURCE
    """Where the range comes from: document and section, or that there is none."""

    def is_outside(self, value: int) -> bool:
        """Tell whether a value lies outside the sensible range."""
        below = self.least is not None and value < self.least
        return below or (self.most is not None and value > self.most)

    @property
    def range_words(self) -> str:
        """Return `1 to 2 L/min`, `at least 5 min`; empty where any value is sensible."""
        if self.least is not None and self.most is not None:
            span = f"{number_text(self.least)} to {number_text(self.most)}"
        elif self.least is not None:
            span = f"at least {number_text(self.least)}"
        elif self.most is not None:
            span = f"at most {number_text(self.most)}"
        else:
            return ""
        return f"{span} {self.unit}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step of the list."""

    id: str
    """Short and stable within the list; lower-case letters, digits, hyphens."""
    name: str
    note: str = ""
    """One line of what to look at; may be empty."""
    readings: tuple[Reading, ...] = ()
    both: bool = False
    """Two people say it: who is signed in, and another one's badge. It is no signature."""
    minutes: int | None = None
    """Minutes asked for of a step that is begun first, and then done. None: it is just done."""
    circuit_types: tuple[str, ...] = ()
    """Only for these; empty: for all."""
    source: str = NO_SOURCE


@dataclass(frozen=True, slots=True, kw_only=True)
class StepList:
    """One version of the list for one way of priming."""

    way: str
    version: int
    steps: tuple[Step, ...]

    def for_type(self, circuit_type: str) -> tuple[Step, ...]:
        """Return the steps of a circuit type, in order."""
        return tuple(
            step
            for step in self.steps
            if not step.circuit_types or circuit_type in step.circuit_types
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingSaid:
    """A reading as it was said."""

    id: str
    name: str
    unit: str
    value: int
    """Thousandths of the unit."""
    outside: bool
    range_words: str

    @property
    def words(self) -> str:
        """Return `CO₂ flow 1.5 L/min`."""
        return f"{self.name} {number_text(self.value)} {self.unit}"


@dataclass(frozen=True, slots=True, kw_only=True)
class StepSaid:
    """What stands of one step of one prime."""

    step: str
    state: StepState
    at: datetime
    begun_at: datetime | None = None
    reason: str = ""
    readings: tuple[ReadingSaid, ...] = ()
    by_id: UUID | None = None
    other_id: UUID | None = None
    """The second person, where two said it."""
    number: int = 0
    """Entry that said it."""
    late: bool = False
    """Said after the prime had ended."""

    @property
    def is_closed(self) -> bool:
        """Whether nothing more is asked of the step."""
        return self.state is not StepState.BEGUN


def open_steps(steps: Iterable[Step], said: Mapping[str, StepSaid]) -> list[Step]:
    """Return the steps that are neither done nor said to be not done, in order."""
    return [step for step in steps if step.id not in said or not said[step.id].is_closed]


def the_next(steps: Iterable[Step], said: Mapping[str, StepSaid]) -> Step | None:
    """Return the step that is asked for: the first open one; None: all is said."""
    return next(iter(open_steps(steps, said)), None)


def is_one_press(last_at: datetime | None, at: datetime) -> bool:
    """Tell whether a card was read twice: the same card from one device within a moment."""
    return last_at is not None and abs(at - last_at) < ONE_SCAN


def said_reading(reading: Reading, text: str) -> ReadingSaid:
    """Return what was said of a reading, with whether it is sensible.

    Raises:
        BadReading: it is no such reading.
    """
    value = read_value(text, reading.unit)
    return ReadingSaid(
        id=reading.id,
        name=reading.name,
        unit=reading.unit,
        value=value,
        outside=reading.is_outside(value),
        range_words=reading.range_words,
    )


def filled(steps: Iterable[Step], said: Mapping[str, StepSaid], what: Fills) -> int | None:
    """Return millilitres, or millilitres a minute, that a reading says for a field; None: none.

    The last step of the list that says it counts.
    """
    unit = Unit.ML if what is Fills.FILL else Unit.ML_MIN
    found = None
    for step in steps:
        for asked in step.readings:
            values = [each.value for each in _readings_of(said, step.id) if each.id == asked.id]
            if asked.fills is what and values:
                text = f"{number_text(values[0])} {asked.unit}"
                found = _whole(text, unit)
    return found


def _readings_of(said: Mapping[str, StepSaid], step_id: str) -> Sequence[ReadingSaid]:
    return said[step_id].readings if step_id in said else ()


def _whole(text: str, unit: Unit) -> int | None:
    try:
        return read_value(text, unit) // 1000
    except ValueError:
        return None
