"""Readings: what people write as a number with a unit, and what is never guessed at."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from traceability.domain.readings import (
    LONGEST,
    BadReading,
    Fault,
    Unit,
    looks_like_a_reading,
    measure_of,
    number_text,
    read_value,
)
from traceability.domain.steps import Reading


def outcome(said: str, unit: Unit) -> int | Fault:
    """Return the value that was read, or why there is none."""
    try:
        return read_value(said, unit)
    except BadReading as wrong:
        return wrong.fault


THOUSANDTHS = st.integers(min_value=0, max_value=999_999_999)
UNITS = st.sampled_from(list(Unit))


@given(value=THOUSANDTHS, unit=UNITS, comma=st.booleans(), with_unit=st.booleans())
def test_what_is_written_is_read_back(value: int, unit: Unit, comma: bool, with_unit: bool) -> None:
    text = number_text(value)
    assert Decimal(text) * 1000 == value
    said = (text.replace(".", ",") if comma else text) + (f" {unit}" if with_unit else "")
    whole, _, after = text.partition(".")
    if len(after) == 3 and len(whole) <= 3 and whole != "0":
        with pytest.raises(BadReading) as refused:
            read_value(said, unit)
        assert refused.value.fault is Fault.TWO_WAYS
    else:
        assert read_value(said, unit) == value
        assert looks_like_a_reading(said)


@given(value=THOUSANDTHS, given=UNITS, asked=UNITS)
def test_a_unit_is_brought_to_another_of_its_measure_evenly_or_not_at_all(
    value: int, given: Unit, asked: Unit
) -> None:
    said = f"{number_text(value // 10 * 10)} {given}"
    brought = outcome(said, asked)
    if measure_of(given) is not measure_of(asked):
        assert brought is Fault.OTHER_MEASURE
        return
    if isinstance(brought, Fault):
        assert given is not asked
        assert brought in {Fault.OTHER_MEASURE, Fault.NOT_EVEN, Fault.TOO_LARGE}
        return
    assert outcome(said, given) == value // 10 * 10
    factor: dict[tuple[Unit, Unit], Decimal] = {
        (Unit.LITRE, Unit.ML): Decimal(1000),
        (Unit.ML, Unit.LITRE): Decimal("0.001"),
    }
    if (given, asked) in factor:
        assert brought == value // 10 * 10 * factor[given, asked]


@given(said=st.text(max_size=LONGEST + 8), unit=UNITS)
def test_any_text_is_a_number_or_has_its_reason(said: str, unit: Unit) -> None:
    value = outcome(said, unit)
    if not isinstance(value, Fault):
        assert read_value(f"{number_text(value)} {unit}".replace(".", ","), unit) == value or (
            value % 10 and abs(value) >= 1000
        )


@pytest.mark.parametrize(
    ("said", "unit", "fault"),
    [
        ("", Unit.LITRE, Fault.EMPTY),
        ("much", Unit.LITRE, Fault.NO_NUMBER),
        ("1.5.2", Unit.LITRE, Fault.NO_NUMBER),
        ("1e3", Unit.PER_MIN, Fault.UNKNOWN_UNIT),
        ("٣", Unit.PER_MIN, Fault.NO_NUMBER),
        ("1,500", Unit.ML, Fault.TWO_WAYS),
        ("0.0004", Unit.LITRE, Fault.TOO_FINE),
        ("1500 mL/min", Unit.LITRE, Fault.OTHER_MEASURE),
        ("20 kPa", Unit.MMHG, Fault.OTHER_MEASURE),
        ("100 s", Unit.MIN, Fault.NOT_EVEN),
        ("1 gallon", Unit.LITRE, Fault.UNKNOWN_UNIT),
        ("-1", Unit.LITRE, Fault.BELOW_NOTHING),
        ("09521234000013", Unit.PER_MIN, Fault.TOO_LARGE),
        ("1.5 litres and some more of it", Unit.LITRE, Fault.NO_NUMBER),
    ],
)
def test_what_cannot_be_read_says_why(said: str, unit: Unit, fault: Fault) -> None:
    with pytest.raises(BadReading) as refused:
        read_value(said, unit)
    assert refused.value.fault is fault


def test_pressure_may_be_below_nothing_and_volumes_come_in_either_unit() -> None:
    assert read_value("−40", Unit.MMHG) == -40_000
    assert read_value("1500 ml", Unit.LITRE) == 1500
    assert read_value("1,5 L", Unit.ML) == 1_500_000
    assert read_value("90 s", Unit.MIN) == 1500
    assert read_value("3000 rpm", Unit.PER_MIN) == 3_000_000
    assert read_value(".5", Unit.LITRE) == 500


def test_codes_are_not_taken_for_readings() -> None:
    assert looks_like_a_reading("1.5")
    assert looks_like_a_reading("1500 ml/min")
    for code in ("09521234000013", "4K0O17I1", "CTA.NEXT7", "0109521234000013", "12-0701", ""):
        assert not looks_like_a_reading(code), code


@given(ends=st.tuples(st.none() | THOUSANDTHS, st.none() | THOUSANDTHS), value=THOUSANDTHS)
def test_outside_is_below_the_least_or_above_the_most(
    ends: tuple[int | None, int | None], value: int
) -> None:
    least, most = ends
    reading = Reading(id="flow", name="Flow", unit=Unit.L_MIN, least=least, most=most)
    inside = (least is None or least <= value) and (most is None or value <= most)
    assert reading.is_outside(value) is not inside
    assert bool(reading.range_words) is (ends != (None, None))
