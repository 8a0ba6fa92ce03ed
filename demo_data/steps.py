"""The procedure's steps: the unit writes its lists down, and from then on its people say them.

No step takes a number of the story's chance: with or without steps, everything else is the same.
"""

from datetime import timedelta
from importlib.resources import files
from typing import TYPE_CHECKING, Final
from uuid import uuid5

from traceability.actions.lists.steps import SetSteps, set_steps
from traceability.actions.once import Sent
from traceability.actions.prime.steps import SayStep, say_step
from traceability.domain.readings import Unit, number_text
from traceability.domain.step_lists import list_of_file
from traceability.domain.steps import Reading, Step, StepList, StepState

from .hospital import DESK, SITE_ID, VENN
from .stage import Story
from .ward import Ward

if TYPE_CHECKING:
    from .primes import Trolley

DAYS_AGO: Final = 20
"""Since when the unit has lists."""
LISTS: Final = ("wet_closed", "wet_open", "dry")
A_STEP: Final = timedelta(seconds=35)
SPEED: Final = 3000
"""Turns a minute at which the pump runs while air is tapped out."""


def lists() -> list[StepList]:
    """Return the lists that come with the demo."""
    folder = files(__package__) / "step_lists"
    return [list_of_file((folder / f"{name}.toml").read_bytes()) for name in LISTS]


def write_lists_down(ward: Ward) -> Story[None]:
    """Set the list of each way of priming."""
    for each in lists():
        sent = Sent(
            device_id=DESK.id, actor_id=VENN.id, request_id=uuid5(SITE_ID, f"steps {each.way}")
        )
        set_steps(
            SetSteps(sent=sent, way=each.way, steps=each.steps, read_version=0),
            site=ward.stage.site,
        )
    ward.steps_since = ward.stage.now
    yield timedelta(0)


def say_steps(trolley: "Trolley", *, until: str = "") -> None:
    """Say the steps of a prime as they were done, the last one now; `until`: up to that one."""
    if not trolley.has_steps:
        return
    (found,) = [each for each in lists() if each.way == "wet-closed"]
    steps = list(found.for_type(trolley.kit.circuit_type))
    if until:
        steps = steps[: [step.id for step in steps].index(until)]
    for number, step in enumerate(steps, start=1):
        _say(trolley, step, A_STEP * (len(steps) - number))


def _say(trolley: "Trolley", step: Step, ago: timedelta) -> None:
    stage, crew = trolley.ward.stage, trolley.crew
    asked = SayStep(
        sent=Sent(
            device_id=crew.trolley.id,
            actor_id=crew.helper.id,
            request_id=uuid5(trolley.circuit.id, step.id),
        ),
        circuit_id=trolley.circuit.id,
        step=step.id,
        state=StepState.DONE,
        at=stage.now - ago,
        readings={each.id: _read(each, trolley.kit.fill_ml) for each in step.readings},
        other_id=crew.primer.id if step.both else None,
    )
    say_step(asked, site=stage.site)


def _read(reading: Reading, fill_ml: int) -> str:
    if reading.unit is Unit.LITRE:
        return number_text(fill_ml)
    return {Unit.L_MIN: "1.5", Unit.MIN: "6", Unit.PER_MIN: str(SPEED)}[reading.unit]
