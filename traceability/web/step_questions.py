"""Questions that a step of the procedure asks at the trolley, and how their answers come back.

What is asked travels with the page (`asking`) and comes back with each answer, so that nothing of
a step is kept before all of it was said.
"""

from collections.abc import Mapping
from typing import Final

from flask import jsonify
from flask.typing import ResponseReturnValue

from traceability.domain.act_cards import CARDS, Act
from traceability.domain.readings import Unit
from traceability.domain.steps import Reading, StepState
from traceability.messages import WORDS, Said
from traceability.reads.steps import StepFacts
from traceability.reads.trolley import TrolleyFacts
from traceability.step_messages import CAUTION, NOT_DONE
from traceability.web import session
from traceability.web.forms import device_moment
from traceability.web.trolley_strip import strip_answer

HOW: Final = "Number cards or keys, then next step: card 7."
"""How a number is said."""

Body = Mapping[str, object]


def ask_reading(
    found: TrolleyFacts,
    step: StepFacts,
    reading: Reading,
    given: Mapping[str, str],
    body: Body,
    trouble: str = "",
) -> ResponseReturnValue:
    """Ask for a number; `trouble` says why the one before could not be taken."""
    usual = f"Usual: {reading.range_words}. " if reading.range_words else ""
    asking = {"want": "reading", "step": step.step.id, "reading": reading.id, "given": given}
    pad = {"label": reading.name, "unit": reading.unit}
    lines = [f"{step.step.name}. {usual}{HOW}"]
    if trouble:
        lines = [trouble, *lines]
    choices = [*_since_begun(reading, step, body), *_ways_out(step)]
    sentence = f"{reading.name}, in {reading.unit}"
    word = "" if trouble else "Say it"
    return say(found, sentence, lines, choices, asking | {"pad": pad}, word=word)


def ask_second(
    found: TrolleyFacts, step: StepFacts, given: Mapping[str, str], trouble: str = ""
) -> ResponseReturnValue:
    """Ask for the badge of the second person."""
    person = session.who()
    first = f"{person.name} says it here. " if person else ""
    lines = [f"{first}The badge of the other one says it too. It is no signature."]
    if trouble:
        lines = [trouble, *lines]
    asking = {"want": "second", "step": step.step.id, "given": given}
    sentence = "Scan the badge of the other one"
    word = "" if trouble else "Both"
    return say(found, sentence, lines, _ways_out(step), asking, word=word)


def ask_why(found: TrolleyFacts, step: StepFacts) -> ResponseReturnValue:
    """Ask why the step is not done."""
    choices: list[dict[str, object]] = [
        {"value": value, "label": label, "act": "reason"} for value, label in NOT_DONE.items()
    ]
    asks = {"want": "why", "step": step.step.id}
    lines = [f"{step.step.name}. It is recorded as not done, and the prime goes on."]
    return say(found, "Why? Touch or scan a reason", lines, choices, asks, word="Not done")


def ask_which(found: TrolleyFacts, trouble: str = "") -> ResponseReturnValue:
    """Show the open steps to choose from, in any order."""
    choices: list[dict[str, object]] = [
        {"value": each.step.id, "label": f"{each.place}. {each.step.name}", "act": "step"}
        for each in found.steps.open
    ]
    choices.append(_with_card(Act.END))
    lines = [
        f"{trouble}Touch what is done, or say its number and then card 7. {_numbers(found)}",
        CAUTION,
    ]
    asking: dict[str, object] = {"want": "choose", "pad": {"label": "Step", "unit": ""}}
    return say(found, "Which step?", lines, choices, asking, word="Steps")


def ask_again(found: TrolleyFacts, step: StepFacts) -> ResponseReturnValue:
    """Show what was said of a step, to say it anew or take it back."""
    said = step.said
    if said is None:
        return ask_which(found)
    why = f", {NOT_DONE.get(said.reason, said.reason).lower()}" if said.reason else ""
    state = "Not done" if said.state is StepState.NOT_DONE else "Done"
    read = f": {', '.join(each.words for each in said.readings)}" if said.readings else ""
    who = f"Said by {step.who}. " if step.who else ""
    choices: list[dict[str, object]] = [
        {"value": step.step.id, "label": "Take it back", "act": "step-back"},
        _with_card(Act.STEPS),
    ]
    asking: dict[str, object] = {"want": "again", "step": step.step.id}
    line = f"{state}{why}{read}. {who}Say it again: next step, card 7."
    return say(found, step.step.name, [line], choices, asking, word="Said")


def _since_begun(reading: Reading, step: StepFacts, body: Body) -> list[dict[str, object]]:
    """Offer the minutes since the step was begun where it asks for minutes."""
    begun_at = step.said.begun_at if step.said else None
    if reading.unit is not Unit.MIN or begun_at is None:
        return []
    minutes = int((device_moment(body.get("at")) - begun_at).total_seconds()) // 60
    if minutes < 1:
        return []
    return [{"value": str(minutes), "label": f"{minutes} min since begun", "act": "said"}]


def _ways_out(step: StepFacts) -> list[dict[str, object]]:
    out: list[dict[str, object]] = [_with_card(Act.STEP_NOT_DONE, step.step.id)]
    return [*out, _with_card(Act.STEPS)]


def _with_card(act: Act, value: str = "") -> dict[str, object]:
    number, label = CARDS[act]
    return {"value": value, "label": label, "act": act, "card": number}


def _numbers(found: TrolleyFacts) -> str:
    said = [str(each.place) for each in found.steps.steps if not each.is_open]
    return f"Said: {', '.join(said)}." if said else ""


def say(
    found: TrolleyFacts,
    sentence: str,
    lines: list[str],
    choices: list[dict[str, object]] | None = None,
    asking: Body | None = None,
    *,
    word: str = "",
) -> ResponseReturnValue:
    """Ask, or say that something has to be looked at; nothing was recorded."""
    said = Said(
        word=word or WORDS["look-again"],
        sentence=sentence,
        lines=tuple(line for line in lines if line),
        speech=sentence,
    )
    verdict, tone = ("none", "") if word else ("look-again", "turn")
    answer = strip_answer(found, verdict, said, choices or [], tone=tone)
    return jsonify(answer | {"asking": asking})


def asking_in(body: Body) -> dict[str, object]:
    """Return what the page was asked, as it sent it back; empty: nothing."""
    sent = body.get("asking")
    if not isinstance(sent, dict):
        return {}
    kept: dict[str, object] = {
        name: sent[name] for name in ("want", "step", "reading") if isinstance(sent.get(name), str)
    }
    given = sent.get("given")
    return kept | ({"given": given} if isinstance(given, dict) else {})


def given_in(asking: Body, step: StepFacts) -> dict[str, str]:
    """Return the readings of the step that were said already, by short name."""
    given = asking.get("given")
    known = {each.id for each in step.step.readings}
    if not isinstance(given, dict):
        return {}
    return {str(key): str(value)[:40] for key, value in given.items() if key in known}
