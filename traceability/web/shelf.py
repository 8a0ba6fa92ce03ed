"""The home page: the ready shelf; and the same as numbers, as a calendar and on paper."""

from flask import Blueprint, Response, jsonify, render_template
from flask.typing import ResponseReturnValue
from markupsafe import Markup

from traceability.exchange.calendar import calendar
from traceability.printing.shelf_list import render_shelf_list
from traceability.reads.can_prime import can_prime
from traceability.reads.lists import SiteFacts, site_facts
from traceability.reads.notice_tasks import flags
from traceability.reads.shelf import OnShelf, Shelf, shelf
from traceability.reads.waiting_acts import how_many_wait
from traceability.shelf_messages import TOLD_OF, say_findings, say_reasons
from traceability.shelf_papers import shelf_dates, shelf_sheet
from traceability.web import session
from traceability.web.pictures.days import shelf_days
from traceability.web.session import services
from traceability.web.stock import lines_for_shelf

pages = Blueprint("shelf", __name__)


@pages.get("/")
def page() -> ResponseReturnValue:
    """Show what stands ready."""
    ours = services()
    zone, now = ours.settings.zone_info, ours.now()
    with ours.reads() as reads:
        found = shelf(reads, ours.site.id, now)
        stock = lines_for_shelf(can_prime(reads, ours.site.id, now, zone))
        named, waits = flags(reads, ours.site.id), how_many_wait(reads, ours.site.id)
    drawn = shelf_days(found, now, zone)
    at = session.device()
    return render_template(
        "shelf.html",
        shelf=found,
        days_svg=Markup(drawn),  # noqa: S704 - our own drawing; its texts are escaped there
        stock=stock,
        flags=named,
        waits=waits,
        say_reasons=say_reasons,
        say_findings=say_findings,
        told_of=TOLD_OF,
        # Who was told may be a name: a browser that nobody knows is told when, and no more.
        shows_names=session.who() is not None or (at is not None and at.enrolled),
        nav="shelf",
    )


@pages.get("/shelf.json")
def as_json() -> ResponseReturnValue:
    """Give the same for a wall screen or another system: numbers and states, no people."""
    ours, (found, _) = services(), _shelf()
    return jsonify(
        {
            "as_known_at": ours.now().isoformat(),
            "ready": found.ready,
            "target": found.target,
            "ready_beyond_target": found.beyond,
            "look_every_hours": found.limits.check_hours,
            "places": [
                {
                    "place": each.place.name,
                    "stands_for": each.place.stands_for,
                    "wanted": each.place.wanted,
                    "circuit_types": list(each.place.accepts),
                    "least_hours_left": each.place.least_left.total_seconds() / 3600,
                    "circuit": each.ready[-1].circuit and _circuit(each.ready[-1])
                    if each.ready
                    else None,
                    "ready": [_circuit(one) for one in each.ready],
                    "not_counted": [_circuit(one) for one in each.not_counted],
                    "missing": each.missing,
                    "missing_since": each.missing_since and each.missing_since.isoformat(),
                    "told_by_hand_at": [one.at.isoformat() for one in each.told],
                }
                for each in found.required
            ],
            "elsewhere": [_circuit(one) for one in found.elsewhere],
            "being_primed": [each.number for each in found.priming],
            "taken": [each.number for each in found.away],
            "on_patient": [each.number for each in found.on_patient],
        }
    )


@pages.get("/shelf.ics")
def as_calendar() -> ResponseReturnValue:
    """Give use-bys and looks that are due as a calendar to subscribe to; no people."""
    ours, (found, site) = services(), _shelf()
    dates = shelf_dates(found)
    practice = "PRACTICE, nothing here is real: " if site.practice else ""
    name = f"{practice}Ready circuits, {site.unit}, {site.name}"
    text = calendar(name, dates, stamp=ours.now(), domain=f"{site.code.lower()}.invalid")
    answer = Response(text, mimetype="text/calendar")
    answer.headers["Content-Disposition"] = 'inline; filename="shelf.ics"'
    return answer


@pages.get("/shelf.pdf")
def as_paper() -> ResponseReturnValue:
    """Give the shelf on A4: for the morning, and for when the service is down."""
    ours, (found, site) = services(), _shelf()
    sheet = shelf_sheet(found, site, ours.now(), ours.settings.zone_info)
    answer = Response(render_shelf_list(sheet), mimetype="application/pdf")
    answer.headers["Content-Disposition"] = 'inline; filename="shelf.pdf"'
    return answer


def _shelf() -> tuple[Shelf, SiteFacts]:
    ours = services()
    with ours.reads() as reads:
        return shelf(reads, ours.site.id, ours.now()), site_facts(reads)


def _circuit(one: OnShelf) -> dict[str, object]:
    circuit = one.circuit
    return {
        "number": circuit.number,
        "state": circuit.state.value,
        "place": circuit.place,
        "circuit_type": circuit.circuit_type,
        "way": circuit.way,
        "use_by": circuit.use_by and circuit.use_by.isoformat(),
        "decided_by": circuit.decides.get("code"),
        "reasons": [str(why) for why in one.reasons],
        "use_by_within_24_h": one.soon,
        "looked_at": one.look and one.look.at.isoformat(),
        "look_good": one.look and one.look.good,
        "look_findings": list(one.look.findings) if one.look else [],
        "look_due_at": one.look_due_at.isoformat(),
        "look_overdue": one.look_overdue,
        "wet_days_over_note": one.wet_days,
    }
