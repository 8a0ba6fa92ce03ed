"""Lists of steps: files that are taken, files that are told why not, and what is asked next."""

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from traceability.domain.readings import Unit
from traceability.domain.step_lists import (
    list_body,
    list_of_file,
    read_list,
    require_sound,
    short_name,
)
from traceability.domain.steps import (
    Fills,
    Reading,
    ReadingSaid,
    Step,
    StepList,
    StepSaid,
    StepState,
    filled,
    open_steps,
    the_next,
)
from traceability.storage.ledger import canonical

EXAMPLES = Path(__file__).parents[2] / "demo_data" / "step_lists"
AT = datetime(2031, 5, 6, 12, tzinfo=UTC)
SUBJECTS = {  # what the procedure cannot do without, by way of priming
    "wet_closed": ("type-read", "suction-ports-off", "co2-flush", "filled", "de-aired"),
    "wet_open": ("type-read", "suction-ports-off", "co2-flush", "filled", "de-aired"),
    "dry": ("type-read", "suction-ports-off", "not-filled"),
}


@pytest.mark.parametrize("name", SUBJECTS)
def test_the_examples_are_sound_and_say_where_each_step_comes_from(name: str) -> None:
    steps = list_of_file((EXAMPLES / f"{name}.toml").read_bytes())
    ids = [step.id for step in steps.steps]
    assert set(SUBJECTS[name]) <= set(ids)
    assert ids[-1] == "covered"
    assert [step.id for step in steps.steps if step.both] == ["inspected"]
    assert all(step.source for step in steps.steps)
    assert read_list(json.loads(canonical(list_body(steps)))) == steps


GOOD = 'way = "dry"\n[[steps]]\nname = "Ties on"\n'


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "way"),
        ("way = 'dry'", "1 to 60 steps"),
        ("way = 'by hand'", "way"),
        ("way = 'dry", "not TOML"),
        ("way = 'dry'\nsteps = 5", r"\[\[steps\]\]"),
        ("way = 'dry'\nsteps = ['Ties on']", r"\[\[steps\]\]"),
        (GOOD + "colour = 'blue'", "Ties on: colour"),
        (GOOD + "minutes = 'five'", "Ties on: minutes"),
        (GOOD + "minutes = true", "Ties on: minutes"),
        (GOOD + "minutes = 0", "Ties on: it can take"),
        (GOOD + "both = 'yes'", "Ties on: both"),
        (GOOD + "circuit_types = 'Adult 3/8'", "circuit_types"),
        (GOOD + "name = 'twice'", "not TOML"),
        (GOOD + "id = 'Ties On'", "short name"),
        (GOOD + "[[steps]]\nname = 'Ties on'", "Two steps"),
        (GOOD + f"[[steps]]\nname = '{'x' * 61}'", "1 to 60 characters"),
        (GOOD + "[[steps]]\nid = 'nameless'", "nameless"),
        (GOOD + "[[steps.readings]]\nname = 'Flow'\nunit = 'L/h'", "unit"),
        (GOOD + "[[steps.readings]]\nname = 'Flow'\nunit = 'L/min'\nleast = 'x'", "no number"),
        (GOOD + "[[steps.readings]]\nname = 'Flow'\nunit = 'L/min'\nleast = nan", "no number"),
        (GOOD + "[[steps.readings]]\nname = 'Flow'\nunit = 'L/min'\nleast = 1e999999999", "digits"),
        (GOOD + "[[steps.readings]]\nname = 'Flow'\nunit = 'L/min'\nleast = 0.0001", "digits"),
        (GOOD + "[[steps.readings]]\nname = 'Flow'\nunit = 'L/min'\nleast = 2\nmost = 1", "least"),
        (GOOD + "[[steps.readings]]\nname = 'Flow'\nunit = 'min'\nfills = 'co2'", "flow"),
        ("[" * 20_000, "."),
    ],
)
def test_a_file_that_is_no_list_says_why(text: str, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        list_of_file(text.encode())


@given(data=st.binary(max_size=200))
def test_any_bytes_are_a_list_or_have_a_reason(data: bytes) -> None:
    with pytest.raises(ValueError, match=r"\w"):
        list_of_file(data)


def test_other_encodings_and_far_too_large_files_say_so() -> None:
    with pytest.raises(ValueError, match="UTF-8"):
        list_of_file(GOOD.replace("Ties", "Ligatüren").encode("utf-16"))
    with pytest.raises(ValueError, match="too large"):
        list_of_file(GOOD.encode() + b"#" * 200_000)
    assert list_of_file(b"\xef\xbb\xbf" + GOOD.encode()).steps[0].id == "ties-on"


@given(names=st.lists(st.text(min_size=1, max_size=60), min_size=1, max_size=20))
def test_short_names_are_sound_and_unlike_each_other(names: list[str]) -> None:
    taken: list[str] = []
    for name in names:
        taken.append(short_name(name, taken))
    steps = tuple(Step(id=each, name="Step") for each in taken)
    require_sound(StepList(way="dry", version=1, steps=steps))


STEPS = tuple(Step(id=f"step-{n}", name=f"Step {n}") for n in range(6))


@given(order=st.permutations(STEPS), states=st.lists(st.sampled_from(list(StepState)), max_size=6))
def test_what_is_open_is_what_is_neither_done_nor_said_not_to_be(
    order: list[Step], states: list[StepState]
) -> None:
    said = {
        step.id: StepSaid(step=step.id, state=state, at=AT)
        for step, state in zip(order, states, strict=False)
    }
    still = open_steps(STEPS, said)
    assert [step.id for step in still] == [
        step.id for step in STEPS if step.id not in said or said[step.id].state is StepState.BEGUN
    ]
    assert the_next(STEPS, said) == (still[0] if still else None)


def test_a_reading_fills_the_field_of_the_end_in_its_own_unit() -> None:
    volume = Reading(id="volume", name="Volume", unit=Unit.LITRE, fills=Fills.FILL)
    flow = Reading(id="flow", name="Flow", unit=Unit.L_MIN, fills=Fills.CO2)
    steps = (Step(id="fill", name="Fill", readings=(volume, flow)),)
    readings = tuple(
        ReadingSaid(
            id=each.id, name=each.name, unit=each.unit, value=1250, outside=False, range_words=""
        )
        for each in (volume, flow)
    )
    said = {"fill": StepSaid(step="fill", state=StepState.DONE, at=AT, readings=readings)}
    assert filled(steps, said, Fills.FILL) == 1250
    assert filled(steps, said, Fills.CO2) == 1250
    assert filled(steps, {}, Fills.CO2) is None
