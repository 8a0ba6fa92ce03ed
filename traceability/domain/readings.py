"""Readings that a step of the procedure asks for: what is said, as a number in its unit.

Numbers are kept in thousandths, as whole numbers: a body holds no floats. What cannot be read with
certainty is not guessed at: whoever said it is told why, and says it again.
"""

import re
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction
from typing import Final

THOUSAND: Final = 1000
LONGEST: Final = 24
"""Characters of what is said; more is another code, or words."""
MOST_DIGITS: Final = 6
"""Digits before the decimal sign. Own choice: no reading at a trolley is longer."""


class Unit(StrEnum):
    """Units in which a reading can be asked for, as they are printed."""

    L_MIN = "L/min"
    ML_MIN = "mL/min"
    MIN = "min"
    SECONDS = "s"
    LITRE = "L"
    ML = "mL"
    PER_MIN = "/min"
    MMHG = "mmHg"
    KPA = "kPa"
    CELSIUS = "°C"
    COUNT = "pieces"


class Measure(StrEnum):
    """What a unit measures: readings are only ever brought to another unit of the same measure."""

    FLOW = "flow"
    TIME = "time"
    VOLUME = "volume"
    SPEED = "pump speed"
    PRESSURE = "pressure"
    TEMPERATURE = "temperature"
    COUNT = "count"


_OF: Final[dict[Unit, tuple[Measure, Fraction | None]]] = {
    Unit.L_MIN: (Measure.FLOW, Fraction(1000)),
    Unit.ML_MIN: (Measure.FLOW, Fraction(1)),
    Unit.MIN: (Measure.TIME, Fraction(60)),
    Unit.SECONDS: (Measure.TIME, Fraction(1)),
    Unit.LITRE: (Measure.VOLUME, Fraction(1000)),
    Unit.ML: (Measure.VOLUME, Fraction(1)),
    Unit.PER_MIN: (Measure.SPEED, Fraction(1)),
    # Between the two there is no factor that comes out even: a reading stays in the unit it was
    # read in, so the step asks for the one that the gauge shows.
    Unit.MMHG: (Measure.PRESSURE, None),
    Unit.KPA: (Measure.PRESSURE, None),
    Unit.CELSIUS: (Measure.TEMPERATURE, Fraction(1)),
    Unit.COUNT: (Measure.COUNT, Fraction(1)),
}

MAY_BE_BELOW_NOTHING: Final = frozenset({Measure.PRESSURE, Measure.TEMPERATURE})

_SPELLINGS: Final[dict[str, Unit]] = {
    **{unit.value.casefold(): unit for unit in Unit},
    **dict.fromkeys(
        ("lpm", "l/m", "litre/min", "litres/min", "liter/min", "liters/min"), Unit.L_MIN
    ),
    **dict.fromkeys(("ml/m", "mlpm"), Unit.ML_MIN),
    **dict.fromkeys(("mins", "minute", "minutes"), Unit.MIN),
    **dict.fromkeys(("sec", "second", "seconds"), Unit.SECONDS),
    **dict.fromkeys(("litre", "litres", "liter", "liters"), Unit.LITRE),
    **dict.fromkeys(("millilitre", "millilitres", "milliliter", "milliliters"), Unit.ML),
    **dict.fromkeys(("rpm", "1/min", "u/min", "turns/min", "min-1"), Unit.PER_MIN),
    "mm hg": Unit.MMHG,
    **dict.fromkeys(("c", "degc", "deg c"), Unit.CELSIUS),
    **dict.fromkeys(("piece", "x"), Unit.COUNT),
}


class Fault(StrEnum):
    """Why what was said is no reading; each has its sentence."""

    EMPTY = "reading-empty"
    NO_NUMBER = "reading-no-number"
    TWO_WAYS = "reading-two-ways"
    TOO_FINE = "reading-too-fine"
    TOO_LARGE = "reading-too-large"
    BELOW_NOTHING = "reading-below-nothing"
    UNKNOWN_UNIT = "reading-unknown-unit"
    OTHER_MEASURE = "reading-other-measure"
    NOT_EVEN = "reading-not-even"


class BadReading(ValueError):
    """What was said cannot be taken as this reading; `fault` says why."""

    def __init__(self, fault: Fault) -> None:
        """Keep the code; the wording is elsewhere."""
        super().__init__(fault)
        self.fault = fault


_SAID: Final = re.compile(r"([+-]?)([0-9]*)(?:([.,])([0-9]*))?\s*([^0-9.,+-].*)?")


def measure_of(unit: Unit) -> Measure:
    """Return what the unit measures."""
    return _OF[unit][0]


def read_value(said: str, unit: Unit) -> int:
    """Return what was said, in thousandths of `unit`.

    A decimal point and a decimal comma are the same. A unit may follow the number; one of the same
    measure is brought to `unit` if that comes out even.

    Raises:
        BadReading: says why; nothing is guessed.
    """
    text = " ".join(said.replace("\N{MINUS SIGN}", "-").split())
    if not text:
        raise BadReading(Fault.EMPTY)
    parts = _SAID.fullmatch(text) if len(text) <= LONGEST else None
    if parts is None or not (parts[2] or parts[4]):
        raise BadReading(Fault.NO_NUMBER)
    sign, whole, point, after, tail = (part or "" for part in parts.groups())
    if point and not after:
        raise BadReading(Fault.NO_NUMBER)
    given = _unit(tail, unit)
    if len(whole) > MOST_DIGITS:
        raise BadReading(Fault.TOO_LARGE)
    if len(after) == 3 and 1 <= len(whole) <= 3 and not whole.startswith("0"):  # noqa: PLR2004
        raise BadReading(Fault.TWO_WAYS)  # "1,500" and "1.500": one and a half, or fifteen hundred?
    if len(after) > 3:  # noqa: PLR2004 - thousandths are what is kept
        raise BadReading(Fault.TOO_FINE)
    value = int(whole or "0") * THOUSAND + int(after.ljust(3, "0") or "0")
    if sign == "-" and value and measure_of(unit) not in MAY_BE_BELOW_NOTHING:
        raise BadReading(Fault.BELOW_NOTHING)
    value = -value if sign == "-" else value
    return value if given is unit else _brought(value, given, unit)


def _unit(tail: str, asked: Unit) -> Unit:
    if not tail:
        return asked
    given = _SPELLINGS.get(tail.casefold().rstrip("."))
    if given is None:
        raise BadReading(Fault.UNKNOWN_UNIT)
    if measure_of(given) is not measure_of(asked):
        raise BadReading(Fault.OTHER_MEASURE)
    return given


def _brought(value: int, given: Unit, asked: Unit) -> int:
    one, other = _OF[given][1], _OF[asked][1]
    if one is None or other is None:
        raise BadReading(Fault.OTHER_MEASURE)
    brought = value * one / other
    if brought.denominator != 1:
        raise BadReading(Fault.NOT_EVEN)
    if abs(brought) >= 10**MOST_DIGITS * THOUSAND:
        raise BadReading(Fault.TOO_LARGE)
    return brought.numerator


def number_text(thousandths: int) -> str:
    """Return `1.5` for 1500, `2` for 2000: no digit more than was said."""
    text = f"{Decimal(thousandths) / THOUSAND:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def looks_like_a_reading(text: str) -> bool:
    """Tell whether a text that came from keys or a scanner is meant as a number, not as a code.

    A product's number of digits alone is longer than any reading; a lot begins with no digit, or
    has more behind it than a unit.
    """
    parts = _SAID.fullmatch(text.strip()) if len(text.strip()) <= LONGEST else None
    if parts is None or not (parts[2] or parts[4]) or len(parts[2]) > MOST_DIGITS:
        return False
    tail = (parts[5] or "").strip()
    return not tail or tail.casefold().rstrip(".") in _SPELLINGS
