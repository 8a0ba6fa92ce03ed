"""Acts at the shelf: look at a circuit, say who was told, say that one was opened."""

from flask import Blueprint, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from traceability.actions.circuit.look_at import LookAt, look_at
from traceability.actions.circuit.open_up import OpenUp, open_up
from traceability.actions.circuit.tell import ToldByHand, told_by_hand
from traceability.domain.circuits import Phase
from traceability.domain.people import Right
from traceability.domain.shelf_checks import Finding
from traceability.errors import UnknownCode
from traceability.reads.lists import site_facts
from traceability.reads.shelf import OnShelf, shelf
from traceability.shelf_messages import FINDINGS, say_findings, say_reasons
from traceability.web import session
from traceability.web.forms import checked, moment_of
from traceability.web.prime import tag_number, the_circuit

pages = Blueprint("check", __name__)


@pages.get("/check")
def page() -> ResponseReturnValue:
    """Ask for one scan; then what was seen on that circuit. Two touches when all is right."""
    session.need(Right.ACT)
    text, ours = request.args.get("tag", "").strip(), session.services()
    with ours.reads() as reads:
        found = shelf(reads, ours.site.id, ours.now())
        code = site_facts(reads).code
    standing = [one for each in found.required for one in (*each.ready, *each.not_counted)]
    standing += found.elsewhere
    scanned, sentence = _scanned(text, code, standing) if text else (None, None)
    looked = next((one for one in standing if one.circuit.number == request.args.get("done")), None)
    return render_template(
        "check.html",
        scanned=scanned,
        looked=looked,
        flash=sentence,
        standing=sorted(standing, key=lambda one: (one.look_due_at, one.circuit.number)),
        findings=list(FINDINGS.items()),
        say_findings=say_findings,
        say_reasons=say_reasons,
        every=found.limits.check_hours,
        nav="shelf",
    ), 422 if sentence else 200


def _scanned(text: str, code: str, standing: list[OnShelf]) -> tuple[OnShelf | None, str | None]:
    number, is_ours = tag_number(text, code)
    if not is_ours:
        return None, "That is no circuit tag of this unit. Scan the tag on the circuit."
    found = next((one for one in standing if one.circuit.number == number), None)
    if found is not None:
        return found, None
    try:
        known = the_circuit(number)
    except UnknownCode:
        return None, f"No circuit {number} is known here. Scan the tag again."
    state = "is still being primed" if known.standing.phase is Phase.PRIMING else "does not stand"
    return None, f"{number} {state} primed. Only what stands primed is looked at here."


@pages.post("/circuits/<number>/look")
def look(number: str) -> ResponseReturnValue:
    """Record what was seen."""
    circuit = the_circuit(number)
    good = checked("good")
    asked = LookAt(
        sent=session.sent(request.form.get("request_id")),
        circuit_id=circuit.id,
        findings=() if good else tuple(_findings()),
        at=moment_of("at"),
    )
    look_at(asked, site=session.site())
    return redirect(url_for("check.page", done=circuit.number))


def _findings() -> list[str]:
    """Return what was ticked; *other* where somebody said "not right" and ticked nothing."""
    ticked = [each.value for each in Finding if checked(f"finding-{each.value}")]
    return ticked or [Finding.OTHER.value]


@pages.post("/told")
def told() -> ResponseReturnValue:
    """Record who was told by hand."""
    form = request.form
    asked = ToldByHand(
        sent=session.sent(form.get("request_id")),
        who=form.get("who", ""),
        reason=form.get("reason", ""),
        at=moment_of("at"),
        place_id=session.key_or_none(form.get("place_id"), "place"),
        circuit_id=session.key_or_none(form.get("circuit_id"), "circuit"),
    )
    told_by_hand(asked, site=session.site())
    return redirect(url_for("shelf.page"))


@pages.post("/circuits/<number>/opened")
def opened(number: str) -> ResponseReturnValue:
    """Record that a closed circuit was opened; its use-by is shorter from here."""
    circuit = the_circuit(number)
    asked = OpenUp(
        sent=session.sent(request.form.get("request_id")),
        circuit_id=circuit.id,
        at=moment_of("at"),
    )
    open_up(asked, site=session.site())
    return redirect(url_for("circuits.page", number=circuit.number))
