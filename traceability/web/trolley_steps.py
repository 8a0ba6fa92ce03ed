"""Steps at the trolley: what *next step* asks for, and what cards, keys and badges answer.

What is asked travels with the page (`asking`) and comes back with each answer, so that nothing of
a step is kept before all of it was said.
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Final
from uuid import UUID

from flask import jsonify
from flask.typing import ResponseReturnValue

from traceability.actions.once import Done, answer_given
from traceability.actions.prime.steps import SayStep, TakeStepBack, say_step, take_step_back
from traceability.domain.act_cards import COUNT_CARDS, DIGIT_CARDS, Act
from traceability.domain.readings import BadReading, looks_like_a_reading, read_value
from traceability.domain.steps import STEP_ACTS, NotDone, StepState, is_one_press
from traceability.domain.tags import SymbolKind, write_symbol
from traceability.errors import BadValue
from traceability.messages import say_refusal, say_verdict
from traceability.reads.steps import StepFacts
from traceability.reads.trolley import TrolleyFacts
from traceability.web import session
from traceability.web.forms import device_moment, number_in
from traceability.web.prime import the_trolley
from traceability.web.sign_in import badge_code
from traceability.web.step_questions import (
    Body,
    ask_again,
    ask_reading,
    ask_second,
    ask_which,
    ask_why,
    asking_in,
    given_in,
    say,
)
from traceability.web.trolley_strip import strip_answer

AIM: Final = re.compile(r"^\][A-Za-z][0-9A-Za-z]")
"""What a scanner puts before a text to tell its symbology."""
PAD_CARDS: Final[Mapping[str, str]] = {
    **{write_symbol(SymbolKind.ACT, body): str(count) for body, count in COUNT_CARDS.items()},
    **{write_symbol(SymbolKind.ACT, body): digit for body, digit in DIGIT_CARDS.items()},
    write_symbol(SymbolKind.ACT, Act.UNDO): "back",
    write_symbol(SymbolKind.ACT, Act.NEXT): "enter",
}
"""Texts of the cards that make up a number on the page, and what each one is there."""


def steps_answer(name: str, body: Body, found: TrolleyFacts) -> ResponseReturnValue | None:
    """Return the answer if what was scanned or touched is about a step; None: it is not."""
    if not found.priming or not found.steps.steps or name not in _DOES:
        return None
    does, wants = _DOES[name]
    want = asking_in(body).get("want")
    if wants is not None and want not in wants:
        return None
    if name == Act.NEXT and not want and found.steps.next is None:
        return None
    again = _answered(body)
    return does(found, body) if again is None else _answer(found, again)


def _answered(body: Body) -> Done | None:
    """Return the answer that this very request was given before, if its answer was lost."""
    ours, sent = session.services(), session.sent(str(body.get("request_id")))
    with ours.reads() as reads:
        done = answer_given(sent, reads, ours.site.id)
    return done if done is not None and done.code in {*STEP_ACTS, "step-taken-back"} else None


def said_number(text: str, body: Body) -> str:
    """Return the number that a scanner or keys sent while the page asked for one; else nothing.

    A product's code is longer than any reading, and everything else is no number with a unit.
    """
    if asking_in(body).get("want") not in {"reading", "choose"}:
        return ""
    bare = AIM.sub("", text).strip()
    return bare if looks_like_a_reading(bare) else ""


def _next(found: TrolleyFacts, body: Body) -> ResponseReturnValue:
    """Go on with what is asked, or with the step that the page showed."""
    asking = asking_in(body)
    if asking.get("want") == "choose":
        return ask_which(found)
    if asking.get("want") == "why":
        return _not_done(found, body)
    shown = str(asking.get("step") or body.get("step") or "")
    step = found.steps.of(shown) if shown else found.steps.next
    if step is None:
        return ask_which(found)
    last = found.last
    by_card = body.get("channel") is not None
    if not asking and last is not None and last.code in STEP_ACTS and by_card:
        at = device_moment(body.get("at"))
        if is_one_press(last.at, at):
            return say(found, "One card, read twice", ["It was counted once. Go on."])
    if not step.is_open and not asking:
        line = f"Said by {step.who}." if step.who else "It was said at another screen."
        return say(found, f"Said already: {step.step.name}", [line, "Nothing was added."])
    return _ask(found, step, body)


def _ask(found: TrolleyFacts, step: StepFacts | None, body: Body) -> ResponseReturnValue:
    """Ask for what the step lacks; if that is nothing, it is done."""
    if step is None:
        return ask_which(found)
    asking = {**asking_in(body), "step": step.step.id}
    given = given_in(asking, step)
    chosen = body.get("choice") == step.step.id and not asking.get("want")
    begun = step.said is not None and step.said.state is StepState.BEGUN
    if chosen and not step.is_open:
        return ask_again(found, step)
    if step.step.minutes and not begun and step.is_open:
        return _record(found, body, step, StepState.BEGUN)
    for reading in step.step.readings:
        if reading.id not in given:
            return ask_reading(found, step, reading, given, body)
    if step.step.both:
        return ask_second(found, step, given)
    return _record(found, body, step, StepState.DONE, given)


def _second(found: TrolleyFacts, body: Body) -> ResponseReturnValue:
    """The badge of the second person was shown."""
    asking = asking_in(body)
    step = found.steps.of(str(asking.get("step") or ""))
    if step is None:
        return ask_which(found)
    badge = str(body.get("badge") or "")
    given = given_in(asking, step)
    person_id = session.door().person_of_badge(badge_code(badge)) if badge else None
    if person_id is None:
        return ask_second(found, step, given, "No such badge is known. Scan it again.")
    try:
        return _record(found, body, step, StepState.DONE, given, other=person_id)
    except BadValue as wrong:
        said = say_refusal(wrong, session.services().settings.zone_info)
        return ask_second(found, step, given, said)


def _said(found: TrolleyFacts, body: Body) -> ResponseReturnValue:
    """A number was said: a reading, or which step is meant."""
    asking, text = asking_in(body), str(body.get("said") or body.get("choice") or "")[:40]
    if asking.get("want") == "choose":
        step = _at_place(found, text)
        if step is None:
            return ask_which(found, f"There is no step {text.strip()}. ")
        return _ask(found, step, {**body, "asking": None, "choice": step.step.id})
    step = found.steps.of(str(asking.get("step") or ""))
    readings = {each.id: each for each in step.step.readings} if step else {}
    reading = readings.get(str(asking.get("reading") or ""))
    if step is None or reading is None:
        return ask_which(found)
    given = given_in(asking, step)
    try:
        read_value(text, reading.unit)
    except BadReading as wrong:
        value = BadValue(field=reading.name, value=text.strip(), why=wrong.fault, unit=reading.unit)
        trouble = say_refusal(value, session.services().settings.zone_info)
        return ask_reading(found, step, reading, given, body, trouble)
    onward = {"want": "reading", "step": step.step.id, "given": {**given, reading.id: text}}
    return _ask(found, step, {**body, "asking": onward, "choice": None})


def _at_place(found: TrolleyFacts, text: str) -> StepFacts | None:
    place = number_in(text.strip())
    return next((each for each in found.steps.steps if each.place == place), None)


def _not_done(found: TrolleyFacts, body: Body) -> ResponseReturnValue:
    """Say that a step was not done: first why."""
    asking = asking_in(body)
    shown = str(asking.get("step") or body.get("choice") or body.get("step") or "")
    named = (
        _at_place(found, str(body.get("said") or "")) if asking.get("want") == "choose" else None
    )
    step = named or found.steps.of(shown) or found.steps.next
    if step is None:
        return ask_which(found)
    reason = str(body.get("reason") or "")
    if asking.get("want") != "why" or reason not in set(NotDone):
        return ask_why(found, step)
    return _record(found, body, step, StepState.NOT_DONE, reason=reason)


def _which(found: TrolleyFacts, _body: Body) -> ResponseReturnValue:
    return ask_which(found)


def _chosen(found: TrolleyFacts, body: Body) -> ResponseReturnValue:
    chosen = found.steps.of(str(body.get("choice") or ""))
    return _ask(found, chosen, {**body, "asking": None})


def _back(found: TrolleyFacts, body: Body) -> ResponseReturnValue:
    asked = TakeStepBack(
        sent=session.sent(str(body.get("request_id"))),
        circuit_id=found.circuit_id,
        step=str(body.get("choice") or ""),
        at=device_moment(body.get("at")),
    )
    return _answer(found, take_step_back(asked, site=session.site()))


def _record(
    found: TrolleyFacts,
    body: Body,
    step: StepFacts,
    state: StepState,
    given: Mapping[str, str] | None = None,
    *,
    reason: str = "",
    other: UUID | None = None,
) -> ResponseReturnValue:
    asked = SayStep(
        sent=session.sent(str(body.get("request_id"))),
        circuit_id=found.circuit_id,
        step=step.step.id,
        state=state,
        at=device_moment(body.get("at")),
        readings=given or {},
        reason=reason,
        other_id=other,
    )
    return _answer(found, say_step(asked, site=session.site()))


def _answer(found: TrolleyFacts, done: Done) -> ResponseReturnValue:
    now = the_trolley(found.number, for_the_strip=True)
    said = say_verdict(done.verdict, done.code, done.facts)
    asked = now.steps.next
    onward = f"Next: {asked.step.name}." if asked else "All steps are said."
    *lines, last = said.lines or ("",)  # at most two lines: the strip is read from afar
    said = replace(said, lines=(*lines, f"{last} {onward}".strip()))
    tone = "in" if done.verdict == "accepted" else "turn"
    return jsonify(strip_answer(now, done.verdict, said, [], tone=tone))


_DOES: Final[
    Mapping[str, tuple[Callable[[TrolleyFacts, Body], ResponseReturnValue], set[str] | None]]
] = {
    Act.NEXT: (_next, None),
    Act.STEPS: (_which, None),
    Act.STEP_NOT_DONE: (_not_done, None),
    "STEP": (_chosen, None),
    "STEP-BACK": (_back, None),
    "SAID": (_said, {"reading", "choose"}),
    "REASON": (_not_done, {"why"}),
    "NEEDED": (_second, {"second"}),
}
"""What each card or button does for a step, and after which questions; None: at any time."""
