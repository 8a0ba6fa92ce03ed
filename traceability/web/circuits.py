"""A circuit's page, its tag, and the acts on the shelf."""

from flask import Blueprint, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from markupsafe import Markup

from traceability.actions.circuit.foreign import TakeInForeign, take_in_foreign
from traceability.actions.circuit.hold import PutOnHold, Release, put_on_hold, release
from traceability.actions.circuit.keep import (
    DiscardCircuit,
    MoveCircuit,
    discard_circuit,
    move_circuit,
)
from traceability.actions.run.come_back import CameBackUnused, came_back_unused
from traceability.domain.people import Right
from traceability.messages import DISCARDS, say_event
from traceability.reads.happenings import Happening, happenings
from traceability.reads.lists import places
from traceability.tag_messages import say_tag_text
from traceability.web import session
from traceability.web.forms import moment_of
from traceability.web.pictures.life import life
from traceability.web.prime import STANDS_IN, the_circuit
from traceability.web.tag_text import stated_by

pages = Blueprint("circuits", __name__)


@pages.get("/circuits/<number>")
def page(number: str) -> ResponseReturnValue:
    """Show what the circuit is, what is in it and what happened."""
    session.need(Right.ACT)
    circuit, ours = the_circuit(number), session.services()
    with ours.reads() as reads:
        happened = happenings(reads, ours.site.id, circuit.id)
        stand_in = places(reads, ours.site.id, *STANDS_IN)
    zone = ours.settings.zone_info
    stated = stated_by(circuit.sender) if circuit.sender else None
    return render_template(
        "circuit.html",
        c=circuit,
        stated=stated,
        stated_says=say_tag_text(stated) if stated else "",
        timeline_svg=Markup(life(circuit, ours.now(), zone)),  # noqa: S704 - escaped there
        happenings=[_shown(each) for each in happened],
        places=stand_in,
        discards=list(DISCARDS.items()),
        nav="shelf",
    )


def _shown(happening: Happening) -> dict[str, object]:
    late = happening.recorded_at - happening.at
    return {
        "at": happening.at,
        "words": say_event(happening.kind, happening.body),
        "who": happening.who or happening.device,
        "device": happening.device,
        "late": late if late.total_seconds() > 60 * 60 else None,
        "number": happening.number,
    }


@pages.post("/circuits/<number>/move")
def move(number: str) -> ResponseReturnValue:
    """Put it somewhere else."""
    circuit = the_circuit(number)
    asked = MoveCircuit(
        sent=session.sent(request.form.get("request_id")),
        circuit_id=circuit.id,
        place_id=session.key(request.form.get("place_id"), "place"),
        at=moment_of("at"),
    )
    move_circuit(asked, site=session.site())
    return redirect(url_for("circuits.page", number=circuit.number))


@pages.post("/circuits/<number>/discard")
def discard(number: str) -> ResponseReturnValue:
    """Throw it away, with a reason."""
    circuit = the_circuit(number)
    asked = DiscardCircuit(
        sent=session.sent(request.form.get("request_id")),
        circuit_id=circuit.id,
        reason=request.form.get("reason", ""),
        at=moment_of("at"),
    )
    discard_circuit(asked, site=session.site())
    return redirect(url_for("circuits.page", number=circuit.number))


@pages.post("/circuits/<number>/hold")
def hold(number: str) -> ResponseReturnValue:
    """Put it on hold."""
    circuit = the_circuit(number)
    asked = PutOnHold(
        sent=session.sent(request.form.get("request_id")),
        subject="circuit",
        subject_id=circuit.id,
        reason=request.form.get("reason", ""),
        notice=request.form.get("notice", ""),
        at=moment_of("at"),
    )
    put_on_hold(asked, site=session.site())
    return redirect(url_for("circuits.page", number=circuit.number))


@pages.post("/circuits/<number>/release")
def free(number: str) -> ResponseReturnValue:
    """Release it from hold."""
    circuit = the_circuit(number)
    asked = Release(
        sent=session.sent(request.form.get("request_id")),
        subject="circuit",
        subject_id=circuit.id,
        reason=request.form.get("reason", ""),
        at=moment_of("at"),
    )
    release(asked, site=session.site())
    return redirect(url_for("circuits.page", number=circuit.number))


@pages.post("/circuits/<number>/came-back")
def came_back(number: str) -> ResponseReturnValue:
    """It came back unused: seal unbroken, looked at again by who is signed in."""
    circuit = the_circuit(number)
    asked = CameBackUnused(
        sent=session.sent(request.form.get("request_id")),
        circuit_id=circuit.id,
        place_id=session.key(request.form.get("place_id"), "place"),
        at=moment_of("at"),
    )
    came_back_unused(asked, site=session.site())
    return redirect(url_for("circuits.page", number=circuit.number))


@pages.get("/foreign")
def foreign_page() -> ResponseReturnValue:
    """Ask where a circuit that was primed elsewhere came from."""
    session.need(Right.ACT)
    ours = session.services()
    with ours.reads() as reads:
        shown = places(reads, ours.site.id)
    return render_template("foreign.html", places=shown, nav="take")


@pages.post("/foreign")
def foreign() -> ResponseReturnValue:
    """Give it a number and a tag of ours."""
    asked = TakeInForeign(
        sent=session.sent(request.form.get("request_id")),
        sender=request.form.get("sender", "").strip(),
        place_id=session.key_or_none(request.form.get("place_id"), "place"),
        at=moment_of("at"),
    )
    done = take_in_foreign(asked, site=session.site())
    return redirect(url_for("circuits.page", number=done.facts["number"]))
