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
from traceability.messages import DISCARDS
from traceability.reads.entries import changed_after_signing
from traceability.reads.happenings import happenings
from traceability.reads.lists import places
from traceability.reads.machines import machines
from traceability.reads.notice_tasks import flags
from traceability.reads.pictures import pictures_of
from traceability.reads.run_extras import keepers, tag_is_old, uses_of_circuit
from traceability.reads.steps import steps_by_number
from traceability.shelf_messages import WAYS, say_findings
from traceability.step_messages import CAUTION, NOT_DONE, STATES
from traceability.tag_messages import say_tag_text
from traceability.web import session
from traceability.web.as_of import as_of
from traceability.web.forms import moment_of
from traceability.web.happened import shown
from traceability.web.pictures.life import life
from traceability.web.prime import STANDS_IN, the_circuit
from traceability.web.run_words import places_on_sheet, run_words
from traceability.web.tag_text import stated_by

pages = Blueprint("circuits", __name__)


@pages.get("/circuits/<number>")
def page(number: str) -> ResponseReturnValue:
    """Show what the circuit is, what is in it and what happened."""
    session.need(Right.ACT)
    then, ours = as_of(), session.services()
    circuit = the_circuit(number, then)
    with ours.reads() as reads:
        happened = happenings(reads, ours.site.id, circuit.id, then.number)
        stand_in = places(reads, ours.site.id, *STANDS_IN)
        changed = changed_after_signing(reads, ours.site.id, circuit.id, then.number)
        beside = {
            "all_places": places(reads, ours.site.id),
            "keepers": keepers(reads, ours.site.id, circuit.id),
            "uses": uses_of_circuit(reads, ours.site.id, circuit.id),
            "pictures": pictures_of(reads, ours.site.id, circuit.number),
            "old_tag": tag_is_old(reads, ours.site.id, circuit.id),
            "steps": steps_by_number(reads, ours.site.id, circuit.number, then.number),
            "flags": flags(reads, ours.site.id, [circuit.id]),
            **run_words(machines(reads, ours.site.id)),
        }
    zone = ours.settings.zone_info
    stated = stated_by(circuit.sender) if circuit.sender else None
    return render_template(
        "circuit.html",
        c=circuit,
        stated=stated,
        stated_says=say_tag_text(stated) if stated else "",
        timeline_svg=Markup(life(circuit, then.at, zone)),  # noqa: S704 - escaped there
        happenings=[shown(each) for each in happened],
        places=stand_in,
        discards=list(DISCARDS.items()),
        changed_after_signing=changed,
        then=then,
        places_in=places_on_sheet(circuit),
        **beside,
        ways=WAYS,
        step_words={"states": STATES, "reasons": NOT_DONE, "caution": CAUTION},
        say_findings=say_findings,
        nav="shelf",
    )


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
