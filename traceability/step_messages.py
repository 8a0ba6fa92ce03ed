"""Words for the procedure's steps: on the strip, in lists, for readings that cannot be taken."""

from collections.abc import Callable, Mapping, Sequence
from typing import Final, TypeAlias

from traceability.domain.readings import Fault
from traceability.domain.steps import NotDone, StepState

Facts: TypeAlias = Mapping[str, object]
Words: TypeAlias = tuple[str, Sequence[str]]

CAUTION: Final = (
    "This list follows the policy of this unit and replaces no training. The maker's instructions "
    "come first."
)
"""Stands wherever the list stands, on the page and on paper."""

NOT_DONE: Final[Mapping[str, str]] = {
    NotDone.WAITS: "Patient waits",
    NotDone.NOT_HERE: "Not for this circuit",
    NotDone.NO_MEANS: "Not at hand",
    NotDone.OTHER_WAY: "Done another way",
    NotDone.ALONE: "Nobody else there",
}
"""Why a step was not done."""

STATES: Final[Mapping[str, str]] = {
    "open": "open",
    StepState.BEGUN: "under way",
    StepState.DONE: "done",
    StepState.NOT_DONE: "not done",
}

WAYS: Final = {"wet-closed": "wet, closed", "wet-open": "wet, open", "dry": "dry"}

FILLS: Final = {"": "nothing", "fill": "volume filled", "co2": "CO₂ flush"}
"""Which field of the prime's end a reading says already."""


def _texts(given: object) -> list[str]:
    return [str(each) for each in given] if isinstance(given, (list, tuple)) else []


def _again(facts: Facts) -> str:
    return "What was said before stays on record." if facts.get("again") else ""


def _done(facts: Facts) -> Words:
    read = ", ".join(_texts(facts.get("readings")))
    other = f"Said by two: the second is {facts['other']}. " if facts.get("other") else ""
    return f"Done: {facts.get('name')}", [f"{read}." if read else "", other + _again(facts)]


def _begun(facts: Facts) -> Words:
    asked = f"{facts['minutes']} min are asked for. " if facts.get("minutes") else ""
    return f"Begun: {facts.get('name')}", [f"{asked}When it is over: next step, card 7."]


def _not_done(facts: Facts) -> Words:
    why = NOT_DONE.get(str(facts.get("reason")), str(facts.get("reason")))
    return f"Not done: {facts.get('name')}", [f"Why: {why.lower()}. It is on record. Go on."]


def _outside(facts: Facts) -> Words:
    read = ", ".join(_texts(facts.get("readings")))
    return (
        "Outside the usual range",
        [
            f"{read}. {'; '.join(_texts(facts.get('outside')))}. Kept as said.",
            "Compare with the gauge. Misread? Undo it, card 1, and say it again.",
        ],
    )


def _taken_back(facts: Facts) -> Words:
    return f"Taken back: {facts.get('name')}", ["It stays on record as taken back. Say it again."]


VERDICTS: Final[Mapping[str, Callable[[Facts], Words]]] = {
    "step-done": _done,
    "step-begun": _begun,
    "step-not-done": _not_done,
    "step-outside": _outside,
    "step-taken-back": _taken_back,
}

EVENTS: Final = {
    "steps-set": "List of steps set",
    "step-said": "Step",
    "step-taken-back": "Step taken back",
}

CAUTIONS: Final = {
    "reading-outside": "A reading lies outside its usual range",
    "steps-not-said": "Steps of the procedure were not said",
}

ACTS: Final = {"step": "Nothing was recorded: steps are said of a circuit that was primed here."}

BAD_VALUES: Final[Mapping[str, str]] = {
    Fault.EMPTY: "{field}: nothing was said. Say a number in {unit}.",
    Fault.NO_NUMBER: "{field}: {value} is no number. Say it in {unit}, like 1.5.",
    Fault.TWO_WAYS: "{field}: {value} can be read two ways. Leave out a last 0, or the sign in "
    "the middle. Say it in {unit}.",
    Fault.TOO_FINE: "{field}: {value} has more than 3 digits behind the decimal sign. Round it.",
    Fault.TOO_LARGE: "{field}: {value} is far too large. Say it in {unit}.",
    Fault.BELOW_NOTHING: "{field}: {value} is below 0, and this cannot be. Say it in {unit}.",
    Fault.UNKNOWN_UNIT: "{field}: the unit of {value} is not known here. Say it in {unit}.",
    Fault.OTHER_MEASURE: "{field} is asked for in {unit}; {value} is something else. Look at the "
    "gauge, and say it in {unit}.",
    Fault.NOT_EVEN: "{field}: {value} does not come out even in {unit}. Say it in {unit}.",
    "step-needs-two": "{field}: two people say this. Scan the badge of the other one.",
    "step-same-person": "{field}: {value} says it already. Scan the badge of the other one.",
}


def say_step_event(kind: str, body: Facts) -> str:
    """Return the detail of an entry about steps in a list of what happened; empty for others."""
    given = body.get("facts")
    facts: Facts = given if isinstance(given, Mapping) else {}
    if kind == "steps-set":
        count = len(_texts(body.get("steps")))
        way = WAYS.get(str(body.get("way")), str(body.get("way")))
        return f"{way}, version {body.get('version')}, {count} steps"
    if kind == "step-taken-back":
        return str(facts.get("name"))
    if kind != "step-said":
        return ""
    said = [str(facts.get("name")), STATES.get(str(body.get("state")), str(body.get("state")))]
    said += _texts(facts.get("readings"))
    if facts.get("reason"):
        said.append(NOT_DONE.get(str(facts["reason"]), str(facts["reason"])).lower())
    if facts.get("other"):
        said.append(f"with {facts['other']}")
    if body.get("late") is True:
        said.append("said after the prime had ended")
    return ", ".join(said)
