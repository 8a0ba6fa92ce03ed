"""The auditor's page: what of a period did not go the usual way; as page, paper and table."""

from datetime import date, datetime, time, timedelta

from flask import Blueprint, Response, render_template, request
from flask.typing import ResponseReturnValue

from traceability import notice_messages as words
from traceability.domain.days import moment
from traceability.domain.people import Right
from traceability.errors import BadValue
from traceability.exception_papers import exceptions_csv
from traceability.messages import say_event
from traceability.reads.exceptions import ExceptionFacts, ExceptionKind, exceptions
from traceability.web import session
from traceability.web.notices import today

pages = Blueprint("exceptions", __name__)

USUAL_DAYS = 30
MOST_SHOWN = 200
"""Entries of one kind on the page; the table has them all."""


@pages.get("/exceptions")
def page() -> ResponseReturnValue:
    """Show the exceptions of a period, kind by kind."""
    session.need(Right.READ_ALL)
    first, last = _days()
    found = _found(first, last)
    return render_template(
        "exceptions.html",
        first=first,
        last=last,
        kinds=[
            (kind, [each for each in found if each.kind is kind][:MOST_SHOWN], count)
            for kind in ExceptionKind
            for count in [sum(each.kind is kind for each in found)]
        ],
        say=lambda entry: say_event(entry.kind, entry.body),
        words=words,
        nav="lists",
    )


@pages.get("/exceptions.csv")
def table() -> Response:
    """Give all of them as a table."""
    session.need(Right.READ_ALL)
    first, last = _days()
    found = _found(first, last)
    say = {each.entry.number: say_event(each.entry.kind, each.entry.body) for each in found}
    answer = Response(exceptions_csv(found, say), mimetype="text/csv")
    name = f"exceptions-{first.isoformat()}-{last.isoformat()}"
    answer.headers["Content-Disposition"] = f'attachment; filename="{name}.csv"'
    return answer


def _found(first: date, last: date) -> list[ExceptionFacts]:
    ours = session.services()
    zone = ours.settings.zone_info
    since, until = (
        moment(datetime.combine(day, time()), zone) for day in (first, last + timedelta(days=1))
    )
    with ours.reads() as reads:
        return exceptions(reads, ours.site.id, since, until)


def _days() -> tuple[date, date]:
    """Return first and last day of the period asked for, both included.

    Raises:
        BadValue: no day, or the last lies before the first.
    """
    last = _day("to") or today()
    first = _day("from") or last - timedelta(days=USUAL_DAYS)
    if last < first:
        raise BadValue(field="to", value=last.isoformat(), why="no-day")
    return first, last


def _day(name: str) -> date | None:
    text = request.args.get(name, "").strip()
    try:
        return date.fromisoformat(text) if text else None
    except ValueError:
        raise BadValue(field=name, value=text, why="no-day") from None
