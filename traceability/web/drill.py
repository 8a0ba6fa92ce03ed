"""The drill of the service: this week's share, the trend, and the list to mend."""

import secrets
from typing import Final

from flask import Blueprint, Response, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from markupsafe import Markup
from werkzeug.exceptions import NotFound

from traceability import drill_messages as words
from traceability.actions.drills.lots import RecordLotDrill, record_lot_drill
from traceability.domain.people import Right, Role
from traceability.errors import NotAllowed, SignInNeeded
from traceability.reads.drills import Drill, draw, drilled, drills, to_mend
from traceability.reads.lists import people
from traceability.reads.people_drills import people_drills
from traceability.security.sign_in import SignedIn
from traceability.web import session
from traceability.web.forms import number_in
from traceability.web.pictures.shares import trend

pages = Blueprint("drill", __name__)

MOST_LINES: Final = 100
"""Lines of the list to mend on the page; the table to load has all."""


def need_drill() -> SignedIn:
    """Return who is signed in, if they drill or read everything.

    Raises:
        SignInNeeded, NotAllowed.
    """
    person = session.who()
    if person is None:
        raise SignInNeeded(right=Right.DRILL)
    if not person.rights & {Right.DRILL, Right.READ_ALL}:
        raise NotAllowed(right=Right.DRILL, person=person.name)
    return person


@pages.get("/drill")
def page() -> ResponseReturnValue:
    """Show the newest drill of the week, or the one that is asked for by its entry."""
    need_drill()
    ours = session.services()
    with ours.reads() as reads:
        known = drills(reads, ours.site.id)
        shown = _asked_for(known)
        lots = drilled(reads, ours.site.id, shown.number) if shown else []
        open_now = to_mend(reads, ours.site.id, shown.number, ours.now()) if shown else []
        by_people = people_drills(reads, ours.site.id)
        staff = [each for each in people(reads, ours.site.id) if each.active]
    lines = words.mend_lines(open_now)
    drawn = trend(known)
    return render_template(
        "drill.html",
        d=shown,
        lots=lots,
        lines=lines[:MOST_LINES],
        more=len(lines) - MOST_LINES,
        known=known,
        by_people=by_people,
        staff=staff,
        roles=[role.value for role in Role],
        trend_svg=Markup(drawn),  # noqa: S704 - our own drawing; its texts are escaped there
        wanted=ours.settings.drill_lots,
        months=ours.settings.drill_months,
        words=words,
        nav="recall",
    )


def _asked_for(known: list[Drill]) -> Drill | None:
    """Return the drill to show.

    Raises:
        NotFound: one was asked for that is not there.
    """
    entry = request.args.get("entry", "")
    if entry:
        found = next((each for each in known if each.number == number_in(entry)), None)
        if found is None:
            raise NotFound
        return found
    return next((each for each in known if not each.by_hand), known[0] if known else None)


@pages.get("/drill/to-mend.csv")
def table() -> ResponseReturnValue:
    """Give the list to mend as it stands now, as a table."""
    need_drill()
    ours = session.services()
    with ours.reads() as reads:
        shown = _asked_for(drills(reads, ours.site.id))
        if shown is None:
            raise NotFound
        lines = words.mend_lines(to_mend(reads, ours.site.id, shown.number, ours.now()))
    response = Response(words.mend_csv(lines), mimetype="text/csv")
    response.headers["Content-Disposition"] = f'attachment; filename="to-mend-{shown.number}.csv"'
    return response


@pages.post("/drill")
def drill_now() -> ResponseReturnValue:
    """Pick lots and follow them now, beside the drill of the week."""
    session.need(Right.DRILL)
    ours = session.services()
    with ours.reads() as reads:
        drawn = draw(
            reads,
            ours.site.id,
            seed=secrets.token_hex(8),
            wanted=ours.settings.drill_lots or 1,
            months=ours.settings.drill_months,
            now=ours.now(),
        )
    sent = session.sent(request.form.get("request_id"))
    done = record_lot_drill(
        RecordLotDrill(sent=sent, drawn=drawn, by_hand=True), site=session.site()
    )
    return redirect(url_for("drill.page", entry=done.first_no))
