"""The drill for people: begin it, say who was told, see the stock; the clock runs on the page."""

import secrets
from typing import Final
from uuid import UUID

from flask import Blueprint, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from werkzeug.exceptions import NotFound

from traceability import drill_messages as words
from traceability.actions.drills.people import (
    BeginDrill,
    StepInDrill,
    StopDrill,
    TellInDrill,
    begin_drill,
    step_in_drill,
    stop_drill,
    tell_in_drill,
)
from traceability.domain.drills.people import Step
from traceability.domain.keys import lot_key
from traceability.domain.people import Right
from traceability.domain.tags import OwnSymbol, SymbolKind, read_symbol, site_and_name
from traceability.reads.drills import any_lot
from traceability.reads.lists import places, site_facts
from traceability.reads.people_drills import PeopleDrillFacts, people_drill
from traceability.recall.find import find
from traceability.web import session
from traceability.web.filters import new_request_id
from traceability.web.forms import whole

pages = Blueprint("people_drill", __name__)

LONGEST: Final = 400
"""Characters; more is no scan of a pack or a place."""


@pages.post("/drill/people")
def begin() -> ResponseReturnValue:
    """Begin a drill with the lot that was named, or with any."""
    session.need(Right.DRILL)
    form = request.form
    text = form.get("lot", "").strip()[:LONGEST]
    lot_id, why = _named(text) if text else _any()
    if lot_id is None:
        return redirect(url_for("drill.page", why=why, _anchor="people"))
    asked = BeginDrill(
        sent=session.sent(form.get("request_id")),
        lot_id=lot_id,
        at_random=not text,
        people=[session.key(each, "person") for each in form.getlist("person")],
        roles=form.getlist("role"),
    )
    done = begin_drill(asked, site=session.site())
    return redirect(url_for("people_drill.page", drill_id=done.subject))


def _any() -> tuple[UUID | None, str]:
    ours = session.services()
    with ours.reads() as reads:
        found = any_lot(
            reads,
            ours.site.id,
            seed=secrets.token_hex(8),
            months=ours.settings.drill_months,
            now=ours.now(),
        )
    return found, "no-lot"


def _named(text: str) -> tuple[UUID | None, str]:
    """Return the one lot that a scan or a written lot names; None and why there is not one."""
    found = {lot_key(product_id, lot) for product_id, lot in _lots_by(text)}
    if len(found) == 1:
        return found.pop(), ""
    return None, "lots-alike" if found else "lot-not-known"


def _lots_by(text: str) -> list[tuple[UUID, str]]:
    ours = session.services()
    today = ours.now().astimezone(ours.settings.zone_info).date()
    with ours.reads() as reads:
        found = find(reads, text, "", today=today)
    return [(lot.product.id, lot.text) for lot in found.lots]


@pages.get("/drill/people/<uuid:drill_id>")
def page(drill_id: UUID) -> ResponseReturnValue:
    """Show one drill, going on or over."""
    session.need(Right.ACT)
    return _page(drill_id, None)


def _page(drill_id: UUID, flash: str | None) -> str:
    drill = _the_drill(drill_id)
    return render_template(
        "people_drill.html",
        d=drill,
        words=words,
        seen=any(each.step == Step.STOCK_SEEN for each in drill.steps),
        found=any(each.step == Step.ANSWER_FOUND for each in drill.steps),
        flash=flash,
        # Each button is an act of its own; sent twice it is still one.
        request_ids={each.line: new_request_id() for each in drill.targets},
        nav="recall",
    )


def _the_drill(drill_id: UUID) -> PeopleDrillFacts:
    """Return the drill.

    Raises:
        NotFound: there is none.
    """
    ours = session.services()
    with ours.reads() as reads:
        drill = people_drill(reads, ours.site.id, drill_id)
    if drill is None:
        raise NotFound
    return drill


@pages.post("/drill/people/<uuid:drill_id>/told")
def told(drill_id: UUID) -> ResponseReturnValue:
    """Record that somebody was told."""
    sent = session.sent(request.form.get("request_id"))
    asked = TellInDrill(sent=sent, drill_id=drill_id, line=whole("line"))
    tell_in_drill(asked, site=session.site())
    return redirect(url_for("people_drill.page", drill_id=drill_id))


@pages.post("/drill/people/<uuid:drill_id>/answer")
def answer_found(drill_id: UUID) -> ResponseReturnValue:
    """Record that the answer was found."""
    sent = session.sent(request.form.get("request_id"))
    asked = StepInDrill(sent=sent, drill_id=drill_id, step=Step.ANSWER_FOUND)
    step_in_drill(asked, site=session.site())
    return redirect(url_for("people_drill.page", drill_id=drill_id))


@pages.post("/drill/people/<uuid:drill_id>/seen")
def stock_seen(drill_id: UUID) -> ResponseReturnValue:
    """Record that somebody stood at the shelf: the place was scanned, or a pack of the lot."""
    session.need(Right.ACT)
    drill = _the_drill(drill_id)
    text = request.form.get("text", "").strip()[:LONGEST]
    place_id = _place(text)
    if place_id is None and (drill.product_id, drill.lot) not in _lots_by(text):
        return _page(drill_id, words.NOT_THERE["other-place"]), 422
    sent = session.sent(request.form.get("request_id"))
    asked = StepInDrill(sent=sent, drill_id=drill_id, step=Step.STOCK_SEEN, place_id=place_id)
    step_in_drill(asked, site=session.site())
    return redirect(url_for("people_drill.page", drill_id=drill_id))


def _place(text: str) -> UUID | None:
    """Return the place whose symbol was scanned, or whose short name was written."""
    own, ours = read_symbol(text), session.services()
    with ours.reads() as reads:
        known = {each.code: each.id for each in places(reads, ours.site.id)}
        code = site_facts(reads).code
    if not isinstance(own, OwnSymbol):
        return known.get(text.upper())
    site, name = site_and_name(own.body)
    return known.get(name) if own.kind is SymbolKind.PLACE and site == code else None


@pages.post("/drill/people/<uuid:drill_id>/stop")
def stop(drill_id: UUID) -> ResponseReturnValue:
    """End it before everybody was told."""
    sent = session.sent(request.form.get("request_id"))
    asked = StopDrill(sent=sent, drill_id=drill_id, reason=request.form.get("reason", ""))
    stop_drill(asked, site=session.site())
    return redirect(url_for("drill.page", _anchor="people"))
