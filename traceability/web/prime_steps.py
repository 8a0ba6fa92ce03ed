"""The steps of one prime: said on a page, in any order, then or later; and on paper."""

from typing import Final

from flask import Blueprint, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from traceability.actions.once import Done
from traceability.actions.prime.steps import SayStep, TakeStepBack, say_step, take_step_back
from traceability.domain.people import Right
from traceability.domain.steps import StepState
from traceability.errors import Refused, UnknownCode
from traceability.messages import say_refusal, say_verdict
from traceability.printing.table_sheet import render_table_sheet
from traceability.reads.circuits import CircuitFacts
from traceability.reads.lists import site_facts
from traceability.reads.steps import StepsFacts, said_before, steps_by_number
from traceability.step_messages import CAUTION, NOT_DONE, STATES, WAYS
from traceability.step_papers import prime_sheet
from traceability.web import session
from traceability.web.errors import status_of
from traceability.web.filters import moment
from traceability.web.forms import moment_of
from traceability.web.papers import pdf
from traceability.web.prime import the_circuit
from traceability.web.sign_in import badge_code

pages = Blueprint("prime_steps", __name__)

DOES: Final = {"done": StepState.DONE, "begun": StepState.BEGUN, "not-done": StepState.NOT_DONE}


@pages.get("/circuits/<number>/steps")
def page(number: str) -> ResponseReturnValue:
    """Show the steps of the prime, what stands of each, and what was said before."""
    session.need(Right.ACT)
    return _page(the_circuit(number), "")


def _page(circuit: CircuitFacts, flash: str) -> str:
    ours = session.services()
    with ours.reads() as reads:
        steps = steps_by_number(reads, ours.site.id, circuit.number)
        before = said_before(reads, ours.site.id, circuit.id)
    return render_template(
        "prime_steps.html",
        c=circuit,
        steps=steps,
        before=before,
        names={each.step.id: each.step.name for each in steps.steps},
        reasons=NOT_DONE,
        states=STATES,
        ways=WAYS,
        caution=CAUTION,
        form=request.form,
        flash=flash,
        nav="prime",
    )


@pages.post("/circuits/<number>/steps")
def say(number: str) -> ResponseReturnValue:
    """Say something of one step; what was filled in stays there if it cannot be taken."""
    circuit = the_circuit(number)
    try:
        done = _done(circuit)
    except Refused as refused:
        sentence = say_refusal(refused, session.services().settings.zone_info)
        return _page(circuit, sentence), status_of(refused)
    if done.verdict != "accepted":
        said = say_verdict(done.verdict, done.code, done.facts)
        return _page(circuit, f"{said.sentence}. {' '.join(said.lines)}")
    return redirect(url_for("prime_steps.page", number=circuit.number, _anchor=_step()))


def _step() -> str:
    return request.form.get("step", "")


def _done(circuit: CircuitFacts) -> Done:
    sent, do = session.sent(request.form.get("request_id")), request.form.get("do", "")
    if do == "back":
        asked = TakeStepBack(sent=sent, circuit_id=circuit.id, step=_step(), at=moment_of("at"))
        return take_step_back(asked, site=session.site())
    state = DOES.get(do)
    if state is None:
        raise UnknownCode(what="act", value=do[:40])
    badge = request.form.get("badge", "").strip()
    other = session.door().person_of_badge(badge_code(badge)) if badge else None
    if badge and other is None:
        raise UnknownCode(what="person", value="this badge")
    say = SayStep(
        sent=sent,
        circuit_id=circuit.id,
        step=_step(),
        state=state,
        at=moment_of("at"),
        readings={
            name.removeprefix("reading-"): text
            for name, text in request.form.items()
            if name.startswith("reading-")
        },
        reason=request.form.get("reason", "") if state is StepState.NOT_DONE else "",
        other_id=other,
    )
    return say_step(say, site=session.site())


@pages.get("/circuits/<number>/steps.pdf")
def paper(number: str) -> ResponseReturnValue:
    """Give the steps of the prime on paper: what was done, read and not done, when and by whom."""
    session.need(Right.ACT)
    circuit, ours = the_circuit(number), session.services()
    with ours.reads() as reads:
        steps, site = steps_by_number(reads, ours.site.id, number), site_facts(reads)
    _require(steps, circuit)
    sheet = prime_sheet(
        circuit, steps, site=site, as_known=moment(ours.now()), zone=ours.settings.zone_info
    )
    return pdf(render_table_sheet(sheet), f"{circuit.number}-steps")


def _require(steps: StepsFacts, circuit: CircuitFacts) -> None:
    if not steps.steps:
        raise UnknownCode(what="list of steps", value=circuit.number)
