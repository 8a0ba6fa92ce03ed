"""Set the list of steps for one way of priming; each change is a new version."""

from dataclasses import dataclass, replace
from typing import ClassVar

from sqlalchemy.orm import Session

from traceability.actions.once import Asked, Done, Site, answer_once
from traceability.actions.single import one_event
from traceability.domain.events import Kind
from traceability.domain.people import Right
from traceability.domain.step_lists import list_body, require_sound
from traceability.domain.steps import Step, StepList
from traceability.domain.use_by import Way
from traceability.errors import BadValue, StaleForm
from traceability.storage.steps import newest_version


@dataclass(frozen=True, slots=True, kw_only=True)
class SetSteps(Asked):
    """Set the list from now on; primes begun before keep theirs."""

    kind: ClassVar[str] = "set-steps"
    right: ClassVar[Right | None] = Right.LISTS
    way: str
    steps: tuple[Step, ...]
    read_version: int
    """The version the form was filled in from; 0 where there was none."""


def set_steps(asked: SetSteps, *, site: Site) -> Done:
    """Record the next version of the list.

    Raises:
        BadValue: the list is not sound; says which step and why.
        StaleForm: somebody set another version meanwhile. Nothing was written.
    """
    return answer_once(asked, _set, site)


def _set(asked: SetSteps, session: Session, site: Site) -> Done:
    ways = [way.value for way in Way]
    if asked.way not in ways:
        raise BadValue(field="way", value=asked.way, why="not-one-of", of=ways)
    version = newest_version(session, site.id, asked.way)
    if version != asked.read_version:
        raise StaleForm(number=version)
    steps = StepList(way=asked.way, version=version + 1, steps=_tidy(asked.steps))
    try:
        require_sound(steps)
    except ValueError as unsound:
        raise BadValue(field="steps", value="", why="said", said=str(unsound)) from None
    return one_event(asked, session, site, Kind.STEPS_SET, list_body(steps))


def _tidy(steps: tuple[Step, ...]) -> tuple[Step, ...]:
    return tuple(
        replace(step, name=" ".join(step.name.split()), note=" ".join(step.note.split()))
        for step in steps
    )
