"""Which device a browser is and who is signed in there; and what an act is sent with."""

import secrets
from collections.abc import Mapping
from datetime import timedelta
from typing import Final
from uuid import UUID

from flask import Flask, Response, current_app, g, request

from traceability.actions.lists.devices import SetDevice, set_device
from traceability.actions.once import Sent, Site
from traceability.domain.people import Right
from traceability.errors import BadValue, DeviceNotEnrolled, NotAllowed, SignInNeeded
from traceability.security.claims import Claim, claim_of, key_text, reference_of
from traceability.security.roles import service_device
from traceability.security.sign_in import AtDevice, Door, SignedIn
from traceability.wiring import Services

DEVICE_COOKIE: Final = "ct_device"
SIGN_IN_COOKIE: Final = "ct_signed_in"
MOMENTS: Final = ("at", "off_at", "on_at")
"""Fields in which the server's own time stands where the request says none."""
NOBODY_ASKED: Final = frozenset(
    {"static", "health.alive", "health.ready", "offline.worker", "offline.listed", "offline.shell"}
)
"""What is the same for everybody, so nobody asks who is there."""
KEEP_DEVICE: Final = timedelta(days=3650)


def services() -> Services:
    """Return the app's services."""
    found: Services = current_app.extensions["traceability"]
    return found


def site() -> Site:
    """Return the site that acts are done at."""
    return services().site


def door() -> Door:
    """Return what signing in needs."""
    return services().door()


def register(app: Flask) -> None:
    """Find out who is there before each page, and set the cookies that were made."""

    @app.before_request
    def _arrive() -> None:
        g.device = g.who = g.new_device_token = g.new_sign_in_token = g.claim = None
        g.revoked = False
        if request.endpoint in NOBODY_ASKED:
            return
        token = request.cookies.get(DEVICE_COOKIE, "")
        g.device = door().device(token) if token else None
        # Taken out of use, or given to another browser: this one is no longer what it was.
        g.revoked = bool(token) and g.device is None
        signed = request.cookies.get(SIGN_IN_COOKIE, "")
        if g.device is not None and signed:
            g.who = door().who(signed, g.device.device_id)
        proof = request.headers.get("CT-Claim", "")
        if proof:
            g.claim = claim_of(
                door(),
                proof,
                request.headers.get("CT-Act", ""),
                request.path,
                request.get_data(),
                g.who.person_id if g.who else None,
            )

    @app.after_request
    def _leave(response: Response) -> Response:
        if g.get("new_device_token"):
            _set(response, DEVICE_COOKIE, g.new_device_token, max_age=KEEP_DEVICE)
        if g.get("new_sign_in_token") is not None:
            if g.new_sign_in_token:
                _set(response, SIGN_IN_COOKIE, g.new_sign_in_token, max_age=None)
            else:
                response.delete_cookie(SIGN_IN_COOKIE, samesite="Lax", httponly=True)
        return response


def _set(response: Response, name: str, value: str, *, max_age: timedelta | None) -> None:
    response.set_cookie(
        name,
        value,
        max_age=max_age,
        httponly=True,
        samesite="Lax",
        secure=services().settings.secure_cookies or request.is_secure,
    )


def device() -> AtDevice | None:
    """Return which device this browser is."""
    found: AtDevice | None = g.device
    return found


def who() -> SignedIn | None:
    """Return who is signed in here."""
    found: SignedIn | None = g.who
    return found


def is_revoked() -> bool:
    """Tell whether this browser was a device that the unit took out of use."""
    return bool(g.get("revoked"))


def claim() -> Claim | str | None:
    """Return whose the act of this request is by its own proof; see `security.claims`."""
    found: Claim | str | None = g.get("claim")
    return found


def act_key() -> dict[str, str] | None:
    """Return what this sign-in's page marks its acts with; None: nobody is signed in."""
    person, token = who(), request.cookies.get(SIGN_IN_COOKIE, "")
    if person is None or not token:
        return None
    ref = reference_of(door(), token)
    return {"ref": ref, "key": key_text(door(), ref), "name": person.name}


def may(right: Right) -> bool:
    """Tell whether who is signed in holds the right."""
    person = who()
    return person is not None and right in person.rights


def need(right: Right) -> SignedIn:
    """Return who is signed in, for a page that shows what not everybody may see.

    Raises:
        SignInNeeded, NotAllowed.
    """
    person = who()
    if person is None:
        raise SignInNeeded(right=right)
    if right not in person.rights:
        raise NotAllowed(right=right, person=person.name)
    return person


def known_browser() -> AtDevice:
    """Return this browser's device; one that nobody enrolled is written down as what it is."""
    found = device()
    if found is not None:
        return found
    token, ours = secrets.token_urlsafe(32), site()
    device_id = ours.new_id(ours.clock())
    set_device(
        SetDevice(
            sent=Sent(
                device_id=service_device(ours.id),
                actor_id=None,
                request_id=ours.new_id(ours.clock()),
            ),
            set_id=device_id,
            name="Browser, not enrolled",
            place="",
            token_digest=door().digest(token),
        ),
        site=ours,
    )
    g.new_device_token = token
    made = AtDevice(device_id=device_id, name="Browser, not enrolled", place="", enrolled=False)
    g.device = made
    return made


def need_device() -> AtDevice:
    """Return which device this browser is.

    Raises:
        DeviceNotEnrolled: this browser is not known and nobody is signed in.
    """
    found = device()
    if found is None:
        raise DeviceNotEnrolled
    return found


def sent(request_id: str | None) -> Sent:
    """Return who sends the act of this request.

    Raises:
        DeviceNotEnrolled: this browser is not known and nobody is signed in.
        BadValue: the request id is none.
    """
    found, person = need_device(), who()
    body = request.get_json(silent=True) if request.is_json else request.form
    said = body if isinstance(body, Mapping) else {}
    unsaid = frozenset(name for name in MOMENTS if not said.get(name))
    proved, asked = claim(), key(request_id, "request id")
    if isinstance(proved, Claim) and person is not None:
        # Whoever is signed in now only sends it; it is the act of who did it, where it was done.
        late = proved.waited or proved.person_id != person.person_id
        return Sent(
            device_id=proved.device_id,
            actor_id=proved.person_id,
            request_id=asked,
            unsaid=unsaid,
            claimed=proved.words(person.person_id) if late else None,
        )
    return Sent(
        device_id=found.device_id,
        actor_id=person.person_id if person else None,
        request_id=asked,
        unsaid=unsaid,
    )


def key(text: str | None, field: str) -> UUID:
    """Return an id of a form.

    Raises:
        BadValue: it is none.
    """
    try:
        return UUID(text or "")
    except ValueError:
        raise BadValue(field=field, value=text or "", why="not-an-id") from None


def key_or_none(text: str | None, field: str) -> UUID | None:
    """Return an id of a form, or None where nothing was chosen."""
    return key(text, field) if text else None
