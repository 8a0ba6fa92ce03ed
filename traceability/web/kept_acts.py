"""The door for acts that waited on a device, and the page on which a person confirms them."""

from collections.abc import Callable, Mapping
from datetime import datetime
from functools import wraps
from typing import Final, ParamSpec
from uuid import UUID, uuid5

from flask import Blueprint, jsonify, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from werkzeug.exceptions import NotFound

from traceability.actions.once import Done, Sent
from traceability.actions.prime.say import Say, say
from traceability.actions.prime.scan import ScanPart, scan_part
from traceability.actions.prime.waiting import (
    KeepAct,
    SettleAct,
    keep_act,
    reasons_to_wait,
    settle_act,
)
from traceability.domain.act_cards import Act
from traceability.domain.people import Right
from traceability.errors import (
    BadValue,
    Busy,
    Refused,
    SignInNeeded,
    StoreAway,
    StoreFull,
    UnknownCode,
)
from traceability.messages import say_refusal, say_verdict
from traceability.offline_messages import why_words
from traceability.reads.trolley import circuit_id, trolley
from traceability.reads.waiting_acts import WaitingFacts, waiting_acts
from traceability.security.claims import Claim
from traceability.security.roles import service_device
from traceability.web import session
from traceability.web.forms import device_moment, number_in
from traceability.web.trolley_acts import SAYS

pages = Blueprint("kept_acts", __name__)

P = ParamSpec("P")
View = Callable[[str], ResponseReturnValue]
SAID: Final = ("slot", "choice", "channel", "reason", "lot", "serial", "expiry", "step", "said")
"""What is kept of an act beside its code: a person who confirms it has to see what was meant."""
SCREEN_GONE: Final = (
    "That act answers a screen that is gone. Do it anew at the trolley, then leave it out."
)
TRY_AGAIN: Final = (Busy, StoreAway, StoreFull, SignInNeeded)
"""The device keeps the act and sends it again."""


def never_lost(view: View) -> View:
    """Let nothing be lost of what a device kept: what cannot be done waits for a person.

    An act that is sent at once is answered to whoever did it, who can choose; one that waited on
    its device has happened, whatever is thought of it now.
    """

    @wraps(view)
    def door(number: str) -> ResponseReturnValue:
        claim, kept = session.claim(), request.headers.get("CT-Act", "").endswith(".kept")
        if not kept or session.who() is None:
            return view(number)
        why = _why_wait(number, claim)
        if why:
            return _keep(number, claim, why)
        try:
            return view(number)
        except TRY_AGAIN:
            raise
        except Refused as refused:
            return _keep(number, claim, (refused.code,))

    return door


def _why_wait(number: str, claim: Claim | str | None) -> tuple[str, ...]:
    ours, at = session.services(), session.device()
    moment, told = _moment()
    signed = claim if isinstance(claim, Claim) else None
    why: tuple[str, ...] = () if told else ("clock-unreadable",)
    why += reasons_to_wait(
        moment,
        ours.now(),
        signed_out_at=signed.signed_out_at if signed else None,
        device_revoked=signed.device_revoked if signed else False,
    )
    if claim == "unproven":
        why += ("unproven",)
    with ours.reads() as reads:
        device_id = at.device_id if at else service_device(ours.site.id)
        found = trolley(reads, ours.site.id, number, device_id)
    if found is None:
        return (*why, "unknown-circuit")
    return why if found.priming else (*why, "prime-has-ended")


def _keep(number: str, claim: Claim | str | None, why: tuple[str, ...]) -> ResponseReturnValue:
    ours, body, at = session.site(), _body(), session.known_browser()
    person = session.who()
    signed = claim if isinstance(claim, Claim) else None
    with session.services().reads() as reads:
        found = circuit_id(reads, ours.id, number)
    done = keep_act(
        KeepAct(
            # By the service itself: a device that was taken out of use can do nothing.
            sent=Sent(
                device_id=service_device(ours.id),
                actor_id=person.person_id if person else None,
                request_id=session.key(str(body.get("request_id")), "request id"),
            ),
            circuit_id=found,
            number=number[:20],
            device_id=signed.device_id if signed else at.device_id,
            person_id=signed.person_id if signed else None,
            at=_moment()[0],
            what=_what(body),
            why=why,
            said={name: str(body[name])[:100] for name in SAID if body.get(name)},
            text=str(body.get("text") or ""),
        ),
        site=ours,
    )
    said = say_verdict("look-again", done.code, done.facts)
    return jsonify(
        {
            "refused": False,
            "verdict": "look-again",
            "word": said.word,
            "sentence": said.sentence,
            "lines": list(said.lines),
            "tone": "turn",
            "code": done.code,
        }
    )


def _moment() -> tuple[datetime, bool]:
    """Return the device's own time of the act, and whether it told one."""
    try:
        return device_moment(_body().get("at")), bool(_body().get("at"))
    except BadValue:
        return session.services().now(), False


def _what(body: Mapping[str, object]) -> str:
    return "scan" if body.get("text") else str(body.get("act") or "")[:40].upper()


@pages.get("/to-confirm")
def page() -> ResponseReturnValue:
    """Show what devices kept and nobody has looked at."""
    session.need(Right.ACT)
    return _page("")


@pages.post("/to-confirm")
def settle() -> ResponseReturnValue:
    """Record the act as it was done, or leave it out."""
    waits_no = number_in(request.form.get("no", "")) or 0
    found = next((each for each in _all() if each.waits_no == waits_no), None)
    if found is None:
        raise UnknownCode(what="entry", value=str(waits_no))
    way = request.form.get("do", "")
    if way == "recorded":
        problem = _record(found)
        if problem:
            return _page(problem), 422
    asked = SettleAct(
        sent=session.sent(request.form.get("request_id")), waits_no=waits_no, settled_as=way
    )
    settle_act(asked, site=session.site())
    return redirect(url_for("kept_acts.page"))


def _record(found: WaitingFacts) -> str:
    """Do the act as it was said; return why it could not be done, or nothing."""
    if found.circuit_id is None:
        return "This store knows no such circuit. Leave it out, or write it down by hand."
    by = session.sent(request.form.get("request_id"))
    # The same act under the same id, however often the button is pressed.
    sent = Sent(
        device_id=by.device_id,
        actor_id=by.actor_id,
        request_id=uuid5(UUID(int=found.waits_no), f"recorded {found.request_id}"),
    )
    try:
        done = _do(found, sent)
    except Refused as refused:
        return say_refusal(refused, session.services().settings.zone_info)
    if done is None:
        return SCREEN_GONE
    if done.verdict == "accepted":
        return ""
    said = say_verdict(done.verdict, done.code, done.facts)
    return f"{said.word}: {said.sentence}. {' '.join(said.lines)}"


def _do(found: WaitingFacts, sent: Sent) -> Done | None:
    if found.circuit_id is None:
        raise NotFound
    slot = found.said.get("slot", "")
    if found.what == "scan" and found.text:
        channel = found.said.get("channel", "physical-keys")
        scan = ScanPart(
            sent=sent,
            circuit_id=found.circuit_id,
            text=found.text,
            at=found.at,
            channel=channel,
            slot=slot,
            known="typed" if channel == "typed" else "scanned",
        )
        return scan_part(scan, site=session.site())
    if found.what in set(SAYS) and slot:
        asked = Say(
            sent=sent,
            circuit_id=found.circuit_id,
            at=found.at,
            state=SAYS[Act(found.what)],
            slot=slot,
        )
        return say(asked, site=session.site())
    return None


def _page(problem: str) -> str:
    return render_template(
        "to_confirm.html",
        acts=_all(),
        why_words=why_words,
        flash=problem or None,
        nav="prime",
    )


def _all() -> list[WaitingFacts]:
    ours = session.services()
    with ours.reads() as reads:
        return waiting_acts(reads, ours.site.id)


def _body() -> Mapping[str, object]:
    body = request.get_json(silent=True)
    return body if isinstance(body, dict) else {}
