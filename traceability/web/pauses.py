"""A prime changes hands: who takes it over, by badge or by name."""

from uuid import UUID

from flask import Blueprint, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from traceability.actions.prime.pause import TakeOver, take_over
from traceability.domain.people import Right, Role
from traceability.errors import Refused, UnknownCode
from traceability.messages import say_refusal
from traceability.reads.lists import people
from traceability.web import session
from traceability.web.prime import the_trolley
from traceability.web.sign_in import badge_code

pages = Blueprint("pauses", __name__)

PAIR = ("primer", "helper")


@pages.get("/prime/<number>/take-over")
def page(number: str) -> ResponseReturnValue:
    """Show who was at it, and ask who goes on."""
    session.need(Right.PRIME)
    found = the_trolley(number)
    if not found.priming:
        return redirect(url_for("circuits.page", number=found.number))
    return _page(number, None)


@pages.post("/prime/<number>/take-over")
def taken(number: str) -> ResponseReturnValue:
    """Record the hand-over and go on at the trolley page."""
    found = the_trolley(number)
    try:
        primer_id, helper_id = (_person(part) for part in PAIR)
        asked = TakeOver(
            sent=session.sent(request.form.get("request_id")),
            circuit_id=found.circuit_id,
            at=session.services().now(),
            primer_id=primer_id,
            helper_id=helper_id,
        )
        take_over(asked, site=session.site())
    except Refused as refused:
        if session.who() is None:
            raise
        sentence = say_refusal(refused, session.services().settings.zone_info)
        return _page(number, sentence), 422
    return redirect(url_for("trolley.page", number=found.number))


def _page(number: str, sentence: str | None) -> str:
    found, ours = the_trolley(number), session.services()
    with ours.reads() as reads:
        signers = [each for each in people(reads, ours.site.id) if each.active]
    person = session.who()
    before = {found.primer, found.helper}
    new = person if person is not None and person.name not in before else None
    return render_template(
        "take_over.html",
        t=found,
        people=[each for each in signers if {*PAIR} & {str(role) for role in each.roles}],
        chosen={
            "primer": new.name if new and Role.PRIMER in new.roles else "",
            "helper": new.name if new and Role.PRIMER not in new.roles else "",
        },
        is_of_pair=person is not None and person.name in before,
        flash=sentence,
        nav="prime",
    )


def _person(part: str) -> UUID | None:
    """Return who was named: by a badge, which counts first, or from the list.

    Raises:
        UnknownCode: no such badge.
    """
    badge = request.form.get(f"{part}_badge", "").strip()
    if not badge:
        return session.key_or_none(request.form.get(f"{part}_id"), part)
    found = session.door().person_of_badge(badge_code(badge))
    if found is None:
        raise UnknownCode(what="badge", value="")
    return found
