"""Patient runs: the list, one run, and the acts at the bedside."""

from flask import Blueprint, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from markupsafe import Markup
from werkzeug.exceptions import NotFound

from traceability.actions.run.change import ChangeOut, change_out
from traceability.actions.run.flow import EndRun, end_run
from traceability.actions.run.patient import SetPatient, set_patient
from traceability.actions.run.swap import SwapPart, swap_part
from traceability.domain.parts import PartState
from traceability.domain.people import Right
from traceability.errors import BadValue
from traceability.reads.happenings import run_happenings
from traceability.reads.lists import site_facts
from traceability.reads.machines import machines
from traceability.reads.run_extras import kept_circuits, run_extras
from traceability.reads.runs import RunFacts, patient_text, run_facts, runs
from traceability.web import session
from traceability.web.as_of import AsOf, as_of
from traceability.web.forms import checked, manner_of, moment_of, number_in, who_goes_on
from traceability.web.happened import shown
from traceability.web.pictures.life import run_life
from traceability.web.pictures.run_lanes import beside_lanes
from traceability.web.prime import tag_number, the_circuit
from traceability.web.run_words import places_on_sheet, run_words

pages = Blueprint("runs", __name__)


@pages.get("/runs")
def listed() -> ResponseReturnValue:
    """Show the newest runs, those going on first."""
    session.need(Right.ACT)
    ours = session.services()
    with ours.reads() as reads:
        found = runs(reads, ours.site.id)
        kept = kept_circuits(reads, ours.site.id)
    return render_template("runs.html", runs=found, kept=kept, nav="runs")


@pages.get("/runs/<number>")
def page(number: str) -> ResponseReturnValue:
    """Show one run, without the patient."""
    session.need(Right.ACT)
    then = as_of()
    return _page(the_run(number, then), None, then)


@pages.post("/runs/<number>/show-patient")
def show_patient(number: str) -> ResponseReturnValue:
    """Show the patient's reference to who may see it."""
    session.need(Right.SEE_PATIENTS)
    run, ours = the_run(number), session.services()
    with ours.reads() as reads:
        text = patient_text(reads, ours.site.id, run.id)
    return _page(run, text or "not recorded", as_of())


def _page(run: RunFacts, patient: str | None, then: AsOf) -> str:
    parts, places_in = [], {}
    for each in () if then.is_past else run.on_now:
        circuit = the_circuit(each.number)
        places_in[each.number] = places_on_sheet(circuit)
        parts += [
            {
                "value": f"{part.slot}:{part.ordinal}",
                "circuit": circuit.number,
                "label": part.place + (f", {part.ordinal}" if part.count > 1 else ""),
            }
            for part in circuit.now_in
            if part.state not in {PartState.NOT_FITTED, PartState.TICKED} and not part.leaves
        ]
    ours = session.services()
    with ours.reads() as reads:
        happened = run_happenings(reads, ours.site.id, run.id, then.number)
        extras = run_extras(reads, ours.site.id, run.id)
        register = machines(reads, ours.site.id)
    names = {str(each.circuit_id): each.number for each in run.circuits}
    beside = () if then.is_past else beside_lanes(extras)
    drawn = run_life(run, then.at, ours.settings.zone_info, beside=beside)
    return render_template(
        "run.html",
        run=run,
        patient=patient,
        parts=parts,
        places_in=places_in,
        extras=extras,
        **run_words(register),
        timeline_svg=Markup(drawn),  # noqa: S704 - our own drawing; its texts are escaped there
        happenings=[shown(each, names) for each in happened],
        then=then,
        nav="runs",
    )


@pages.post("/runs/<number>/patient")
def patient(number: str) -> ResponseReturnValue:
    """Tie the run to a patient: scanned, typed, or a temporary identity."""
    run = the_run(number)
    asked = SetPatient(
        sent=session.sent(request.form.get("request_id")),
        run_id=run.id,
        reference=request.form.get("reference", ""),
        at=session.services().now(),
    )
    set_patient(asked, site=session.site())
    circuit = request.form.get("circuit")
    if circuit:
        return redirect(url_for("take.taken", number=circuit))
    return redirect(url_for("runs.page", number=run.number))


@pages.post("/runs/<number>/swap")
def swap(number: str) -> ResponseReturnValue:
    """Old part out, new part in: the place was pointed at, the new part scanned."""
    run = the_run(number)
    slot, _, ordinal = request.form.get("part", "").partition(":")
    which = number_in(ordinal)
    if which is None:
        raise BadValue(field="place", value="", why="empty")
    asked = SwapPart(
        sent=session.sent(request.form.get("request_id")),
        circuit_id=the_circuit(request.form.get("circuit", "")).id,
        slot=slot,
        ordinal=which,
        at=moment_of("at"),
        text=request.form.get("text", ""),
        lot_not_readable=checked("not_readable"),
        reading=request.form.get("reading", ""),
        reason=request.form.get("reason", ""),
        by=who_goes_on(),
    )
    swap_part(asked, site=session.site())
    return redirect(url_for("runs.page", number=run.number))


@pages.post("/runs/<number>/change")
def change(number: str) -> ResponseReturnValue:
    """Old circuit off, new one on."""
    run, ours = the_run(number), session.services()
    with ours.reads() as reads:
        code = site_facts(reads).code
    new_number, is_ours = tag_number(request.form.get("tag", ""), code)
    if not is_ours:
        raise BadValue(field="tag of the new circuit", value="", why="empty")
    still_on = [each for each in run.on_now if not each.disputed]
    if not still_on:
        raise BadValue(field="circuit on this run", value="none", why="empty")
    asked = ChangeOut(
        sent=session.sent(request.form.get("request_id")),
        old_circuit_id=still_on[0].circuit_id,
        run_id=run.id,
        new_number=new_number,
        off_at=moment_of("off_at"),
        on_at=moment_of("on_at"),
        manner=manner_of(),
        reason=request.form.get("reason", ""),
        by=who_goes_on(),
    )
    change_out(asked, site=session.site())
    return redirect(url_for("runs.page", number=run.number))


@pages.post("/runs/<number>/end")
def end(number: str) -> ResponseReturnValue:
    """End the patient's support; whatever circuit is on comes off."""
    run = the_run(number)
    asked = EndRun(
        sent=session.sent(request.form.get("request_id")), run_id=run.id, at=moment_of("at")
    )
    end_run(asked, site=session.site())
    return redirect(url_for("runs.page", number=run.number))


def the_run(number: str, then: AsOf | None = None) -> RunFacts:
    """Return the run of that number, as it is or as it was known then; or answer 404."""
    ours = session.services()
    with ours.reads() as reads:
        found = run_facts(reads, ours.site.id, number, then.number if then else None)
    if found is None:
        raise NotFound
    return found
