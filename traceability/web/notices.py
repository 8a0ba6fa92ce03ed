"""Notices: the list, a new one, one with all that belongs to it, and what is said of it."""

from datetime import date

from flask import Blueprint, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from werkzeug.exceptions import NotFound

from traceability import notice_messages as words
from traceability.actions.notice.letters import (
    AddLetter,
    LetterGiven,
    OpenNotice,
    add_letter,
    open_notice,
)
from traceability.actions.notice.standing import DueGiven
from traceability.domain.deadlines import PUBLISHED
from traceability.domain.exposure import Shelf
from traceability.domain.people import Right
from traceability.errors import BadValue
from traceability.reads.notice_answers import (
    SHELVES,
    changes_since,
    given_answers,
    newest_asking,
    replies,
    seen_up_to,
)
from traceability.reads.notice_answers import asking as asking_of
from traceability.reads.notice_history import notice_happenings
from traceability.reads.notice_tasks import flagged, task_counts
from traceability.reads.notices import NoticeFacts, letters, notice_facts, notices, scopes
from traceability.scope_messages import scope_sentences, scope_texts
from traceability.web import session
from traceability.web.forms import moment_of, whole
from traceability.web.happened import shown
from traceability.web.notice_files import files_given

pages = Blueprint("notices", __name__)

MOST_CHANGES = 40
"""Changed rows on the notice's page; the page of the difference has them all."""


def today() -> date:
    """Return the present day in the unit's zone."""
    ours = session.services()
    return ours.now().astimezone(ours.settings.zone_info).date()


def the_notice(number: str) -> NoticeFacts:
    """Return the notice of the address.

    Raises:
        NotFound: there is none.
    """
    ours = session.services()
    with ours.reads() as reads:
        found = notice_facts(reads, ours.site.id, number, today())
    if found is None:
        raise NotFound
    return found


@pages.get("/notices")
def list_page() -> ResponseReturnValue:
    """Show all notices, open ones first."""
    session.need(Right.ASK)
    ours = session.services()
    with ours.reads() as reads:
        found = notices(reads, ours.site.id, today())
    return render_template("notices.html", notices=found, words=words, nav="notices")


@pages.get("/notices/new")
def new_page() -> ResponseReturnValue:
    """Show the form for a new notice."""
    session.need(Right.NOTICES)
    return render_template(
        "notice_new.html", rules=PUBLISHED, words=words, notice=None, nav="notices"
    )


@pages.post("/notices")
def new() -> ResponseReturnValue:
    """Open a notice with its first letter."""
    asked = OpenNotice(
        sent=session.sent(request.form.get("request_id")),
        title=request.form.get("title", ""),
        letter=_letter(),
        at=moment_of("at"),
        due=due_given(),
    )
    done = open_notice(asked, site=session.site())
    return redirect(url_for("notices.page", number=done.facts["number"]))


def _letter() -> LetterGiven:
    return LetterGiven(
        sender_kind=request.form.get("sender_kind", ""),
        sender=request.form.get("sender", ""),
        reference=request.form.get("reference", ""),
        stated_class=request.form.get("stated_class", ""),
        dated_on=day_of("dated_on"),
        text=request.form.get("text", ""),
        files=files_given(),
    )


def due_given() -> DueGiven:
    """Return until when a reply is asked for, as the form says."""
    return DueGiven(
        rule=request.form.get("rule", "none"),
        days=whole("rule_days", default=0),
        unit=request.form.get("rule_unit", ""),
        stated_on=day_of("due_on"),
    )


def day_of(name: str) -> date | None:
    """Return a day of the form; None where it was left empty.

    Raises:
        BadValue: it is no day.
    """
    text = request.form.get(name, "").strip()
    try:
        return date.fromisoformat(text) if text else None
    except ValueError:
        raise BadValue(field=name.replace("_", " "), value=text, why="no-day") from None


@pages.get("/notices/<number>")
def page(number: str) -> ResponseReturnValue:
    """Show one notice: letters, scope, newest answer, what changed, tasks, replies, history."""
    session.need(Right.ASK)
    notice, ours = the_notice(number), session.services()
    site_id, zone = ours.site.id, ours.settings.zone_info
    with ours.reads() as reads:
        versions = scopes(reads, site_id, notice.id)
        newest = newest_asking(reads, notice.id, site_id)
        given = given_answers(reads, site_id, notice.id)
        seen_no = seen_up_to(reads, site_id, notice.id)
        before_no = given[0].asked_no if given else seen_no
        before = asking_of(reads, site_id, notice.id, before_no) if before_no else None
        changed_count, changed = (
            changes_since(reads, site_id, notice.id, before, newest, most=MOST_CHANGES)
            if newest and before and before.number < newest.number
            else (0, [])
        )
        counts = task_counts(reads, site_id, notice.id)
        flags = flagged(reads, site_id, notice.id)
        page_facts = {
            "letters": letters(reads, site_id, notice.id),
            "replies": replies(reads, site_id, notice.id),
            "happenings": [shown(each) for each in notice_happenings(reads, site_id, notice.id)],
        }
    return render_template(
        "notice.html",
        n=notice,
        versions=versions,
        sentences=[scope_sentences(each.scope, zone) for each in versions],
        texts=scope_texts(versions[0].scope) if versions else [],
        asking=newest,
        given=given,
        changed=changed,
        changed_count=changed_count,
        waiting=bool(newest and changed and newest.number > seen_no),
        counts=counts,
        left=sum(each.count for each in counts if not each.in_answer and each.state != "done"),
        flags=flags,
        shelves=SHELVES,
        shelf=Shelf,
        rules=PUBLISHED,
        answers_here=ours.answering is not None,
        words=words,
        zone=zone,
        nav="notices",
        **page_facts,
    )


@pages.get("/notices/<number>/letters")
def letter_page(number: str) -> ResponseReturnValue:
    """Show the form for another letter."""
    session.need(Right.NOTICES)
    return render_template(
        "notice_new.html", rules=(), words=words, notice=the_notice(number), nav="notices"
    )


@pages.post("/notices/<number>/letters")
def letter(number: str) -> ResponseReturnValue:
    """Add a letter about the same event."""
    asked = AddLetter(
        sent=session.sent(request.form.get("request_id")),
        notice_id=the_notice(number).id,
        letter=_letter(),
        at=moment_of("at"),
    )
    add_letter(asked, site=session.site())
    return redirect(url_for("notices.page", number=number))
