"""One entry and what was said of it later; setting it right; claims that clash; joined patients."""

from datetime import datetime
from typing import Final
from uuid import UUID

from flask import Blueprint, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from werkzeug.exceptions import NotFound

from traceability.actions.corrections.allowed import CAN_BE_VOID, IN_TIME
from traceability.actions.corrections.correct import Correct, correct
from traceability.actions.corrections.merge import MergePatients, merge_patients
from traceability.actions.corrections.rule import RuleOnClaims, rule_on_claims
from traceability.correction_messages import REASON_WORDS, STATE_WORDS
from traceability.domain.corrections import OF_PART
from traceability.domain.events import Kind
from traceability.domain.people import Right
from traceability.errors import BadValue
from traceability.reads.disputes import disputes
from traceability.reads.entries import EntryFacts, entry_facts
from traceability.web import session
from traceability.web.forms import checked, moment_of, number_in
from traceability.web.happened import shown
from traceability.web.runs import the_run

pages = Blueprint("corrections", __name__)

STATES: Final = ("recorded", "lot-not-recorded", "lot-not-readable", "not-fitted")
USUAL: Final = {
    Kind.PART_PLACED: "mistyped",
    Kind.PART_SWAPPED: "mistyped",
    Kind.CIRCUIT_TAKEN: "wrong-circuit",
    Kind.PATIENT_SET: "wrong-patient",
    Kind.PRIME_BEGUN: "practice",
}


@pages.get("/entries/<int:no>")
def entry_page(no: int) -> ResponseReturnValue:
    """Show what was entered, what is believed of it now, and the ways to set it right."""
    session.need(Right.ACT)
    found = _entry(no)
    kind = Kind(found.of.kind)
    person = session.who()
    rules = session.may(Right.RULE)
    own = person is not None and found.told.actor_id == person.person_id
    open_to_change = not found.is_void and Kind(found.told.kind) is not Kind.CLAIM_RULED
    return render_template(
        "entry.html",
        e=found,
        told=shown(found.told),
        of=shown(found.of),
        corrections=[shown(each) for each in found.corrections],
        rules=rules,
        parts=open_to_change and kind in OF_PART and bool(found.pieces) and (rules or own),
        time=open_to_change and kind in IN_TIME and rules,
        run=open_to_change and kind is Kind.CIRCUIT_TAKEN and rules,
        patient=open_to_change and kind is Kind.PATIENT_SET,
        void=not found.is_void and Kind(found.told.kind) in CAN_BE_VOID and rules,
        reasons=list(REASON_WORDS.items()),
        usual=USUAL.get(kind, "wrong-time" if kind in IN_TIME else "other"),
        states=[(each, STATE_WORDS[each]) for each in STATES],
        nav="shelf" if found.circuit else "runs",
    )


@pages.post("/entries/<int:no>/correct")
def set_right(no: int) -> ResponseReturnValue:
    """Enter the correction."""
    form = request.form
    found = _entry(no)
    way = form.get("way", "")
    asked = Correct(
        sent=session.sent(form.get("request_id")),
        of=no,
        reason=form.get("reason", ""),
        note=form.get("note", ""),
        void=way == "void",
        parts=_parts() if way == "parts" else (),
        state=form.get("state", "") if way == "parts" else "",
        product_id=session.key_or_none(form.get("product"), "product") if way == "parts" else None,
        lot=form.get("lot", "") if way == "parts" else "",
        serial=form.get("serial", "") if way == "parts" else "",
        expiry=form.get("expiry", "") if way == "parts" else "",
        moment=_given_moment() if way == "time" else None,
        run_number=form.get("run", "") if way == "run" else "",
        patient=form.get("reference", "") if way == "patient" else None,
    )
    correct(asked, site=session.site())
    if found.circuit:
        return redirect(url_for("circuits.page", number=found.circuit))
    return redirect(url_for("runs.page", number=found.runs[0]) if found.runs else "/runs")


def _parts() -> tuple[UUID, ...]:
    found = tuple(session.key(each, "part") for each in request.form.getlist("part"))
    if not found:
        raise BadValue(field="which piece", value="", why="empty")
    return found


def _given_moment() -> datetime:
    if not request.form.get("moment", "").strip():
        raise BadValue(field="when it really was", value="", why="empty")
    return moment_of("moment")


def _entry(number: int) -> EntryFacts:
    ours = session.services()
    with ours.reads() as reads:
        found = entry_facts(reads, ours.site.id, number)
    if found is None:
        raise NotFound
    return found


@pages.get("/disputes")
def dispute_list() -> ResponseReturnValue:
    """Show every pair of claims that nobody has ruled on."""
    session.need(Right.ACT)
    ours = session.services()
    with ours.reads() as reads:
        found = disputes(reads, ours.site.id)
    return render_template(
        "disputes.html", disputes=found, rules=session.may(Right.RULE), nav="runs"
    )


@pages.post("/disputes/rule")
def rule() -> ResponseReturnValue:
    """One claim stands, the other falls."""
    if not checked("sure"):
        raise BadValue(field="I looked at both", value="", why="empty")
    stands, falls, stands_part, falls_part = _pair()
    asked = RuleOnClaims(
        sent=session.sent(request.form.get("request_id")),
        stands=stands,
        falls=falls,
        stands_part=session.key_or_none(stands_part, "part"),
        falls_part=session.key_or_none(falls_part, "part"),
        note=request.form.get("note", ""),
    )
    rule_on_claims(asked, site=session.site())
    return redirect(url_for("corrections.dispute_list"))


def _pair() -> tuple[int, int, str, str]:
    """Return what the button that was pressed says: which claim stands and which falls."""
    said = request.form.get("pair", "").split(":")
    numbers = [number_in(each) for each in said[:2]]
    if len(said) == len(("stands", "falls", "its piece", "its piece")):
        stands, falls = numbers
        if stands is not None and falls is not None:
            return stands, falls, said[2], said[3]
    raise BadValue(field="which one stands", value="", why="empty")


@pages.post("/runs/<number>/same-patient")
def same_patient(number: str) -> ResponseReturnValue:
    """The patient of this run is the patient of another."""
    run = the_run(number)
    asked = MergePatients(
        sent=session.sent(request.form.get("request_id")),
        run_id=run.id,
        other_number=request.form.get("other", ""),
        at=session.services().now(),
    )
    merge_patients(asked, site=session.site())
    return redirect(url_for("runs.page", number=run.number))
