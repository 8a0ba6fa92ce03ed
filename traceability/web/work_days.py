"""The days on which the site works: what rules in work days count."""

import re
from datetime import date

from flask import Blueprint, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from traceability.actions.lists.work_days import SetWorkDays, set_work_days
from traceability.domain.people import Right
from traceability.errors import BadValue
from traceability.notice_messages import WEEKDAYS
from traceability.reads.work_days import work_days
from traceability.web import session
from traceability.web.forms import whole

pages = Blueprint("work_days", __name__)


@pages.get("/work-days")
def page() -> ResponseReturnValue:
    """Show weekdays off and holidays."""
    session.need(Right.ACT)
    ours = session.services()
    with ours.reads() as reads:
        found = work_days(reads, ours.site.id)
    return render_template("work_days.html", found=found, weekdays=WEEKDAYS, nav="lists")


@pages.post("/work-days")
def save() -> ResponseReturnValue:
    """Set them from now on."""
    asked = SetWorkDays(
        sent=session.sent(request.form.get("request_id")),
        days_off=[number for number in range(7) if request.form.get(f"off-{number}")],
        holidays=_days(request.form.get("holidays", "")),
        read_version=whole("read_version", default=0),
    )
    set_work_days(asked, site=session.site())
    return redirect(url_for("work_days.page"))


def _days(text: str) -> list[date]:
    """Return the days of a text, one a line or between commas.

    Raises:
        BadValue: one of them is no day.
    """
    found = []
    for each in filter(None, re.split(r"[\s,;]+", text)):
        try:
            found.append(date.fromisoformat(each))
        except ValueError:
            raise BadValue(field="holidays", value=each[:40], why="no-day") from None
    return found
