"""Sign in with badge and PIN, sign out, and make a browser an enrolled device."""

import secrets
from urllib.parse import urlsplit

from flask import Blueprint, g, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from traceability.actions.lists.devices import enrol
from traceability.actions.lists.people import ChangePin, change_pin
from traceability.domain.tags import OwnSymbol, SymbolKind, read_symbol
from traceability.errors import UnknownCode, WrongCredentials
from traceability.messages import say_refusal
from traceability.security.pins import hash_pin
from traceability.web import session

pages = Blueprint("sign_in", __name__)


@pages.get("/sign-in")
def page() -> ResponseReturnValue:
    """Show the two fields."""
    return render_template("sign_in.html", next=_inside(request.args.get("next")), nav="sign-in")


@pages.post("/sign-in")
def sign_in() -> ResponseReturnValue:
    """Open a session, or say that badge and PIN do not fit."""
    at, onward = session.known_browser(), _inside(request.form.get("next"))
    try:
        person_id = session.door().check(
            badge_code(request.form.get("badge", "")), request.form.get("pin", ""), at.device_id
        )
    except WrongCredentials as refused:
        sentence = say_refusal(refused, session.services().settings.zone_info)
        shown = render_template("sign_in.html", next=onward, flash=sentence, nav="sign-in")
        return shown, 401
    token = session.door().open_session(person_id, at.device_id)
    g.new_sign_in_token = token
    signed_in = session.door().who(token, at.device_id)
    if signed_in is not None and signed_in.must_change_pin:
        return redirect(url_for("sign_in.pin_page"))
    return redirect(onward)


@pages.post("/sign-out")
def sign_out() -> ResponseReturnValue:
    """End the session here and everywhere its cookie was copied to."""
    session.door().close_session(request.cookies.get(session.SIGN_IN_COOKIE, ""))
    g.new_sign_in_token = ""
    return redirect(url_for("shelf.page"))


@pages.post("/enrol")
def enrol_browser() -> ResponseReturnValue:
    """Make this browser the device whose one-time code was entered."""
    token, ours = secrets.token_urlsafe(32), session.site()
    code = request.form.get("code", "")
    enrol(
        code,
        session.door().digest(token),
        site=ours,
        request_id=ours.new_id(ours.clock()),
    )
    g.new_device_token, g.new_sign_in_token = token, ""
    return redirect(_inside(request.form.get("next")))


@pages.get("/pin")
def pin_page() -> ResponseReturnValue:
    """Show the field for an own new PIN."""
    return render_template("pin.html", nav="sign-in")


@pages.post("/pin")
def new_pin() -> ResponseReturnValue:
    """Set an own new PIN."""
    hashed = hash_pin(request.form.get("pin", ""))
    sent = session.sent(request.form.get("request_id"))
    change_pin(ChangePin(sent=sent, pin_hash=hashed), site=session.site())
    return redirect(url_for("shelf.page"))


def badge_code(text: str) -> str:
    """Return the code in a badge's symbol; what was typed without its frame counts too.

    Raises:
        UnknownCode: a symbol of ours that is no badge.
    """
    own = read_symbol(text.strip())
    if isinstance(own, OwnSymbol):
        if own.kind is not SymbolKind.BADGE:
            raise UnknownCode(what="badge", value="")
        return own.body
    return text.strip().upper()


def _inside(target: str | None) -> str:
    """Return the page to go on to, if it is one of ours."""
    parts = urlsplit(target or "/")
    inside = not parts.scheme and not parts.netloc and parts.path.startswith("/")
    ours = inside and not parts.path.startswith("//") and "\\" not in (target or "")
    return (target or "/") if ours else "/"
