"""Retrievals: is this circuit usable until the team is back, and take it with its paper."""

from datetime import datetime, timedelta
from typing import Final

from flask import Blueprint, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from traceability.actions.run.take import TakeCircuit, take_circuit
from traceability.domain.circuits import AWAY, Phase, cautions_for_use
from traceability.domain.moments import Manner
from traceability.domain.people import Right
from traceability.domain.retrievals import MissionCheck, check_mission
from traceability.errors import BadValue, UnknownCode, WrongState
from traceability.messages import say_cautions
from traceability.moves_messages import CAUTION, mission_words
from traceability.reads.circuits import CircuitFacts
from traceability.reads.lists import site_facts
from traceability.reads.shelf import shelf
from traceability.web import session
from traceability.web.filters import local, moment
from traceability.web.forms import moment_of, thousandths
from traceability.web.papers import circuit_paper
from traceability.web.prime import tag_number, the_circuit

pages = Blueprint("retrieval", __name__)

LONGEST_HOURS: Final = 14 * 24
"""No mission is longer; a slip of the pen is. Own choice, no source."""


@pages.get("/retrieval")
def page() -> ResponseReturnValue:
    """Ask for the tag and the hours away; answer whether the circuit lasts."""
    session.need_device()
    tag = request.args.get("tag", "").strip()
    if not tag:
        ours = session.services()
        with ours.reads() as reads:
            found = shelf(reads, ours.site.id, ours.now())
        ready = [each.circuit for each in found.required if each.circuit]
        return render_template("retrieval.html", c=None, ready=ready, away=found.away, nav="take")
    circuit = _by_tag(tag)
    leaves, hours = _leaves(), _hours()
    check = _checked(circuit, leaves, hours)
    against = cautions_for_use(
        circuit.standing,
        contents_recorded=circuit.contents == "recorded",
        listed=circuit.contents == "stated",
        at=leaves,
    )
    return render_template(
        "retrieval.html",
        c=circuit,
        hours=request.args.get("hours", ""),
        out=request.args.get("out", ""),
        leaves=leaves,
        returns=leaves + hours if hours else None,
        check=check,
        words=mission_words(check, circuit.use_by, session.services().settings.zone_info)
        if hours
        else "",
        cautions=say_cautions([code for code in against if code != "past-use-by"]),
        local_now=f"{local(session.services().now()):%Y-%m-%d %H:%M}",
        nav="take",
    )


def _by_tag(tag: str) -> CircuitFacts:
    ours = session.services()
    with ours.reads() as reads:
        code = site_facts(reads).code
    number, is_ours = tag_number(tag, code)
    if not is_ours:
        raise UnknownCode(what="circuit", value=tag[:60])
    return the_circuit(number)


def _leaves() -> datetime:
    return moment_of("out", request.args)


def _hours() -> timedelta | None:
    thousandth = thousandths("hours", request.args)
    if thousandth is None:
        return None
    hours = timedelta(hours=thousandth / 1000)
    if not timedelta() < hours <= timedelta(hours=LONGEST_HOURS):
        raise BadValue(field="hours away", value=request.args.get("hours"), why="out-of-range")
    return hours


def _checked(
    circuit: CircuitFacts, leaves: datetime, hours: timedelta | None
) -> MissionCheck | None:
    if hours is None or circuit.use_by is None:
        return None
    return check_mission(circuit.use_by, leaves=leaves, returns=leaves + hours)


@pages.post("/retrieval/<number>/take")
def take(number: str) -> ResponseReturnValue:
    """Take it to the mission, whatever speaks against it: that is recorded."""
    circuit = the_circuit(number)
    if circuit.standing.phase in {Phase.TAKEN, Phase.ON_PATIENT}:
        raise WrongState(number=circuit.number, state=circuit.standing.phase, act="take-again")
    asked = TakeCircuit(
        sent=session.sent(request.form.get("request_id")),
        number=circuit.number,
        at=moment_of("at"),
        manner=Manner.EMERGENCY,
        reason=AWAY,
    )
    take_circuit(asked, site=session.site())
    hours = request.form.get("hours", "")
    return redirect(url_for("retrieval.away", number=circuit.number, hours=hours or None))


@pages.get("/retrieval/<number>")
def away(number: str) -> ResponseReturnValue:
    """Show that it is with the team, its paper, and what to do on return."""
    session.need_device()
    circuit = the_circuit(number)
    if circuit.away_since is None:
        return redirect(url_for("circuits.page", number=circuit.number))
    return render_template("away.html", c=circuit, hours=request.args.get("hours", ""), nav="take")


@pages.get("/circuits/<number>/retrieval.pdf")
def paper(number: str) -> ResponseReturnValue:
    """Give the team's sheet: all that is needed where there is no network."""
    session.need(Right.ACT)
    circuit, ours = the_circuit(number), session.services()
    hours, out = _hours(), circuit.away_since or _leaves()
    words = mission_words(_checked(circuit, out, hours), circuit.use_by, ours.settings.zone_info)
    if hours is None and circuit.use_by is not None:
        words = f"Use by {moment(circuit.use_by)}."
    back = (("Back by, as planned", moment(out + hours)),) if hours else ()
    return circuit_paper(
        circuit,
        title="Retrieval with a circuit",
        head=words,
        facts=(("Out", moment(out)), *back),
        blanks=(
            "Flow on, date and time",
            "Zone",
            "Flow off, if before return",
            "Connected by",
            "Seal unbroken on return",
            "Parts changed on the way",
        ),
        caution=CAUTION,
        foot=f"As known on {moment(ours.now())}. Enter flow on when back: scan the tag. "
        "No patient on this paper.",
    )
