"""People and devices: added, given badges, enrolled, revoked."""

from datetime import timedelta
from typing import Final

from flask import Blueprint, Response, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from traceability.actions.lists.devices import (
    RevokeDevice,
    SetDevice,
    new_enrol_code,
    revoke_device,
    set_device,
)
from traceability.actions.lists.people import IssueBadge, SetPerson, issue_badge, set_person
from traceability.domain.people import Right, Role
from traceability.domain.tags import badge_symbol
from traceability.errors import UnknownCode
from traceability.printing.sheets import render_badges
from traceability.reads.lists import devices, people, site_facts
from traceability.security.pins import hash_pin, new_badge_code, new_pin
from traceability.security.roles import service_device
from traceability.web import session
from traceability.web.forms import checked
from traceability.web.sign_in import badge_code

pages = Blueprint("people", __name__)

CODE_LASTS: Final = timedelta(hours=24)


@pages.get("/people")
def page() -> ResponseReturnValue:
    """Show everybody who works here."""
    session.need(Right.ADMIN)
    return _page(None)


def _page(issued: dict[str, str] | None) -> str:
    ours = session.services()
    with ours.reads() as reads:
        found = people(reads, ours.site.id)
    return render_template(
        "people.html",
        people=found,
        roles=[role.value for role in Role],
        issued=issued,
        nav="people",
    )


@pages.post("/people")
def save() -> ResponseReturnValue:
    """Add or change a person."""
    session.need(Right.ADMIN)
    form = request.form
    person_id = session.key_or_none(form.get("person_id"), "person")
    asked = SetPerson(
        sent=session.sent(form.get("request_id")),
        person_id=person_id or session.key(form.get("request_id"), "person"),
        name=form.get("name", ""),
        roles=tuple(form.getlist("roles")),
        active=not checked("left"),
    )
    set_person(asked, site=session.site())
    return redirect(url_for("people.page"))


@pages.post("/people/<person_id>/badge")
def badge(person_id: str) -> ResponseReturnValue:
    """Issue a badge with a one-time PIN; both are shown this once and kept nowhere."""
    session.need(Right.ADMIN)
    code, pin = session.services().own_keys.badge_code(new_badge_code), new_pin()
    asked = IssueBadge(
        sent=session.sent(request.form.get("request_id")),
        person_id=session.key(person_id, "person"),
        badge_code=code,
        pin_hash=hash_pin(pin),
        one_time=True,
    )
    issue_badge(asked, site=session.site())
    ours = session.services()
    with ours.reads() as reads:
        named = {str(each.id): each.name for each in people(reads, ours.site.id)}
    return _page(
        {"name": named.get(person_id, ""), "code": code, "pin": pin, "symbol": badge_symbol(code)}
    )


@pages.post("/badge.pdf")
def badge_pdf() -> ResponseReturnValue:
    """Give a badge to print, from the code that was just shown; the code is kept nowhere."""
    session.need(Right.ADMIN)
    ours = session.services()
    with ours.reads() as reads:
        site = site_facts(reads)
        named = {each.name: each for each in people(reads, ours.site.id)}
    person = named.get(request.form.get("name", ""))
    if person is None:
        raise UnknownCode(what="person", value=request.form.get("name", ""))
    card = {
        "code": badge_code(request.form.get("code", "")),
        "name": person.name,
        "roles": ", ".join(str(role) for role in person.roles),
        "unit": site.unit,
        "site": site.name,
    }
    return Response(render_badges([card]), mimetype="application/pdf")


@pages.get("/devices")
def device_page() -> ResponseReturnValue:
    """Show all devices."""
    session.need(Right.ADMIN)
    return _device_page(None)


def _device_page(issued: dict[str, str] | None) -> str:
    ours = session.services()
    with ours.reads() as reads:
        service = service_device(ours.site.id)
        found = [each for each in devices(reads, ours.site.id) if each.id != service]
    return render_template("devices.html", devices=found, issued=issued, nav="people")


@pages.post("/devices")
def add_device() -> ResponseReturnValue:
    """Name a device and show its one-time code."""
    session.need(Right.ADMIN)
    form, ours = request.form, session.services()
    device_id = session.key(form.get("request_id"), "device")
    asked = SetDevice(
        sent=session.sent(form.get("request_id")),
        set_id=device_id,
        name=form.get("name", ""),
        place=form.get("place", ""),
        owner=form.get("owner", ""),
    )
    set_device(asked, site=ours.site)
    code = new_enrol_code(device_id, site=ours.site, expires_at=ours.now() + CODE_LASTS)
    return _device_page({"name": form.get("name", ""), "code": code})


@pages.post("/devices/<device_id>/revoke")
def revoke(device_id: str) -> ResponseReturnValue:
    """A device is lost or gone."""
    session.need(Right.ADMIN)
    asked = RevokeDevice(
        sent=session.sent(request.form.get("request_id")),
        revoked_id=session.key(device_id, "device"),
    )
    revoke_device(asked, site=session.site())
    return redirect(url_for("people.device_page"))
