"""Take a circuit by one scan of its tag, without signing in, and what may follow."""

from datetime import datetime

from flask import Blueprint, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from traceability.actions.once import Sent, answer_given
from traceability.actions.run.come_back import TakeBack, take_back
from traceability.actions.run.flow import FlowOff, FlowOn, flow_off, flow_on
from traceability.actions.run.take import TakeCircuit, take_circuit
from traceability.domain.circuits import State, cautions_for_use
from traceability.domain.moments import ONE_SCAN, Manner
from traceability.domain.tags import LONGEST, BrokenSymbol, read_symbol
from traceability.errors import BadValue, NotOnRun, UnknownCode
from traceability.messages import say_cautions
from traceability.reads.circuits import CircuitFacts
from traceability.reads.lists import site_facts
from traceability.reads.moves import is_reserved
from traceability.reads.run_extras import tag_is_old
from traceability.tag_messages import say_listed, say_tag_text
from traceability.web import session
from traceability.web.forms import checked, moment_of
from traceability.web.prime import other_store, tag_number, the_circuit
from traceability.web.tag_text import stated_by

pages = Blueprint("take", __name__)


@pages.get("/take")
def page() -> ResponseReturnValue:
    """Ask for one scan."""
    return render_template("take.html", error=None, tag="", nav="take")


@pages.post("/take")
def take() -> ResponseReturnValue:
    """Record *taken* from one scan; a tag nobody knows goes on as contents not recorded."""
    text = request.form.get("tag", "").strip()
    ours = session.services()
    with ours.reads() as reads:
        code = site_facts(reads).code
    if not text:
        raise BadValue(field="tag", value="", why="empty")
    number, is_ours = tag_number(text, code)
    if other_store(text, code) == "real":
        # Kept in the practice store it would be lost: there is nothing to go on with here.
        return render_template("take.html", error="real", tag=text, nav="take"), 422
    if not is_ours and not checked("anyway"):
        return _not_ours(text, code)
    here = _ours(number) if is_ours else None
    paper = number if is_ours and here is None and _is_paper(number) else ""
    if paper and not checked("anyway"):
        page = render_template("take.html", error="paper", tag=text, paper=paper, nav="take")
        return page, 422
    if is_ours and here is None and not checked("anyway"):
        return render_template("take.html", error="unknown", tag=text, nav="take"), 422
    if here is not None and _read_twice(here, ours.now()):
        return redirect(url_for("take.taken", number=here.number))
    sent = session.sent(request.form.get("request_id"))
    with ours.reads() as reads:
        given = answer_given(sent, reads, ours.site.id)
    if given is not None and "number" in given.facts:
        # The answer was lost on the way: what it said, and never a second act.
        return redirect(url_for("take.taken", number=given.facts["number"]))
    on_run = here.on_run if here is not None else None
    if here is not None and on_run and on_run.flow_from is None and not checked("anyway"):
        return _flow_on_by_tag(here, sent)
    asked = TakeCircuit(
        sent=sent,
        number=paper if here is None else number,
        tag_text=text[:LONGEST] if here is None else "",
        at=ours.now(),
        manner=Manner.EMERGENCY,
    )
    done = take_circuit(asked, site=session.site())
    return redirect(url_for("take.taken", number=done.facts["number"]))


def _not_ours(text: str, code: str) -> ResponseReturnValue:
    """Say what was read instead; another site's tag says itself what it is. Go on is one button."""
    stated = stated_by(text)
    half = stated is None and isinstance(read_symbol(text), BrokenSymbol)
    return render_template(
        "take.html",
        error="half" if half else other_store(text, code) or "unknown",
        tag=text,
        stated=stated,
        stated_says=say_tag_text(stated) if stated else "",
        stated_lists=say_listed(stated) if stated else "",
        nav="take",
    ), 422


def _read_twice(circuit: CircuitFacts, now: datetime) -> bool:
    """Tell one pull of the trigger that arrived twice from a second act."""
    on_run = circuit.on_run
    if on_run is None:
        return False
    return now - max(on_run.taken_at, on_run.flow_from or on_run.taken_at) < ONE_SCAN


def _ours(number: str) -> CircuitFacts | None:
    try:
        return the_circuit(number)
    except UnknownCode:
        return None


def _is_paper(number: str) -> bool:
    """Tell whether it is the number of a down-time sheet that nobody has entered."""
    ours = session.services()
    with ours.reads() as reads:
        return is_reserved(reads, ours.site.id, number)


def _flow_on_by_tag(circuit: CircuitFacts, sent: Sent) -> ResponseReturnValue:
    """The same tag a second time is *flow on*."""
    asked = FlowOn(
        sent=sent,
        circuit_id=circuit.id,
        at=session.services().now(),
        manner=Manner.EMERGENCY,
    )
    flow_on(asked, site=session.site())
    return redirect(url_for("take.taken", number=circuit.number))


@pages.get("/taken/<number>")
def taken(number: str) -> ResponseReturnValue:
    """Show that it is recorded, and what may follow when there are hands."""
    session.need_device()
    circuit = the_circuit(number)
    if circuit.state not in {State.TAKEN, State.ON_PATIENT}:
        return redirect(url_for("circuits.page", number=circuit.number))
    on_run = circuit.on_run
    against = cautions_for_use(
        circuit.standing,
        contents_recorded=circuit.contents == "recorded",
        listed=circuit.contents == "stated",
        at=on_run.taken_at if on_run else session.services().now(),
    )
    disputed = [each for each in circuit.runs if each.until is None and each.disputed]
    ours = session.services()
    with ours.reads() as reads:
        old_tag = tag_is_old(reads, ours.site.id, circuit.id)
    return render_template(
        "taken.html",
        c=circuit,
        run=on_run,
        cautions=say_cautions(against),
        disputed=disputed,
        old_tag=old_tag,
        nav="take",
    )


@pages.post("/circuits/<number>/flow-on")
def on(number: str) -> ResponseReturnValue:
    """Record flow on, now or at a time."""
    circuit = the_circuit(number)
    asked = FlowOn(
        sent=session.sent(request.form.get("request_id")),
        circuit_id=circuit.id,
        at=moment_of("at"),
        manner=Manner.PLANNED,
        place_id=session.key_or_none(request.form.get("place_id"), "place"),
    )
    flow_on(asked, site=session.site())
    return redirect(url_for("take.taken", number=circuit.number))


@pages.post("/circuits/<number>/flow-off")
def off(number: str) -> ResponseReturnValue:
    """Record flow off; the run may end with it."""
    circuit = the_circuit(number)
    if circuit.on_run is None:
        raise NotOnRun(number=circuit.number, run="")
    asked = FlowOff(
        sent=session.sent(request.form.get("request_id")),
        circuit_id=circuit.id,
        at=moment_of("at"),
        manner=Manner.PLANNED,
        run_id=circuit.on_run.run_id,
        run_ends=checked("run_ends"),
        transferred=checked("transferred"),
    )
    flow_off(asked, site=session.site())
    return redirect(url_for("runs.page", number=circuit.on_run.run))


@pages.post("/circuits/<number>/take-back")
def back(number: str) -> ResponseReturnValue:
    """A wrong scan: the circuit is back in its place, the scan stays on record."""
    circuit = the_circuit(number)
    asked = TakeBack(
        sent=session.sent(request.form.get("request_id")),
        circuit_id=circuit.id,
        at=session.services().now(),
    )
    take_back(asked, site=session.site())
    return redirect(url_for("shelf.page"))
