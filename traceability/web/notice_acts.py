"""What is said of a notice: its scope, what is due, that it was answered, its end."""

import json
import logging
from uuid import UUID

from flask import Blueprint, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from traceability.actions.notice.ask import GiveAnswer, LookAt, give_answer, look_at
from traceability.actions.notice.close import (
    CloseNotice,
    ReopenNotice,
    close_notice,
    reopen_notice,
)
from traceability.actions.notice.scope import (
    SetActedOn,
    SetDue,
    SetScope,
    set_acted_on,
    set_due,
    set_scope,
)
from traceability.domain.notice_scope import BadScope, Scope, read_scope, scope_json
from traceability.domain.people import Right
from traceability.errors import BadValue, StaleForm
from traceability.reads.notices import NoticeFacts, scopes
from traceability.scope_messages import scope_sentences
from traceability.web import session
from traceability.web.forms import moment_of, number_in, whole
from traceability.web.notices import day_of, due_given, the_notice, today

pages = Blueprint("notice_acts", __name__)
log = logging.getLogger(__name__)


@pages.post("/notices/<number>/scope")
def scope(number: str) -> ResponseReturnValue:
    """Set or amend the scope, and ask it at once; one that was amended meanwhile asks back."""
    notice, given = the_notice(number), _scope()
    asked = SetScope(
        sent=session.sent(request.form.get("request_id")),
        notice_id=notice.id,
        scope=scope_json(given),
        read_version=whole("read_version", default=0),
        source=request.form.get("source", ""),
        at=moment_of("at"),
    )
    try:
        done = set_scope(asked, site=session.site())
    except StaleForm:
        return _scope_again(notice, given), 409
    _ask(notice.id, int(str(done.facts["version"])), given, in_any_case=False)
    return redirect(url_for("notices.page", number=number))


def _scope() -> Scope:
    """Return the scope of the form.

    Raises:
        BadValue: it is no JSON, or no scope; the sentence names the place.
    """
    try:
        return read_scope(json.loads(request.form.get("scope", "")))
    except (ValueError, RecursionError) as error:
        said = str(error) if isinstance(error, BadScope) else "What was sent is no scope"
        raise BadValue(field="scope", value="", why="said", said=said) from None


def _scope_again(notice: NoticeFacts, given: Scope) -> str:
    ours = session.services()
    zone = ours.settings.zone_info
    with ours.reads() as reads:
        newest = scopes(reads, ours.site.id, notice.id)[0]
    return render_template(
        "notice_scope_again.html",
        n=notice,
        given=scope_sentences(given, zone),
        newest=newest,
        newest_sentences=scope_sentences(newest.scope, zone),
        scope_text=json.dumps(scope_json(given)),
        source=request.form.get("source", ""),
        at=request.form.get("at", ""),
        nav="notices",
    )


def _ask(notice_id: UUID, version: int, what: Scope, *, in_any_case: bool) -> None:
    """Ask; where somebody else asked in the same moment, theirs stands."""
    ours = session.services()
    sent = session.sent(str(ours.site.new_id(ours.now())))
    try:
        ours.ask_notice(notice_id, version, what, sent, in_any_case=in_any_case)
    except StaleForm:
        log.info("event=notice-asked-by-another notice=%s", notice_id)


@pages.post("/notices/<number>/ask")
def ask(number: str) -> ResponseReturnValue:
    """Ask again, as of now."""
    session.need(Right.NOTICES)
    notice, ours = the_notice(number), session.services()
    with ours.reads() as reads:
        versions = scopes(reads, ours.site.id, notice.id)
    if versions:
        _ask(notice.id, versions[0].version, versions[0].scope, in_any_case=True)
    return redirect(url_for("notices.page", number=number, _anchor="answer"))


@pages.post("/notices/<number>/due")
def due(number: str) -> ResponseReturnValue:
    """Say until when a reply is due."""
    asked = SetDue(
        sent=session.sent(request.form.get("request_id")),
        notice_id=the_notice(number).id,
        due=due_given(),
    )
    set_due(asked, site=session.site())
    return redirect(url_for("notices.page", number=number))


@pages.post("/notices/<number>/acted")
def acted(number: str) -> ResponseReturnValue:
    """Say on which day it was acted on."""
    asked = SetActedOn(
        sent=session.sent(request.form.get("request_id")),
        notice_id=the_notice(number).id,
        acted_on=day_of("acted_on") or today(),
    )
    set_acted_on(asked, site=session.site())
    return redirect(url_for("notices.page", number=number))


def asked_no() -> int:
    """Return the asking that was on the screen."""
    number = number_in(request.form.get("asked_no", ""))
    if number is None:
        raise BadValue(field="entry number", value="", why="no-number")
    return number


@pages.post("/notices/<number>/looked")
def looked(number: str) -> ResponseReturnValue:
    """Say that somebody looked at what changed."""
    asked = LookAt(
        sent=session.sent(request.form.get("request_id")),
        notice_id=the_notice(number).id,
        asked_no=asked_no(),
    )
    look_at(asked, site=session.site())
    return redirect(url_for("notices.page", number=number))


@pages.post("/notices/<number>/give")
def give(number: str) -> ResponseReturnValue:
    """Record that the answer was given."""
    asked = GiveAnswer(
        sent=session.sent(request.form.get("request_id")),
        notice_id=the_notice(number).id,
        asked_no=asked_no(),
        to=request.form.get("to", ""),
    )
    give_answer(asked, site=session.site())
    return redirect(url_for("notices.page", number=number))


@pages.post("/notices/<number>/close")
def close(number: str) -> ResponseReturnValue:
    """Close it with its outcome."""
    asked = CloseNotice(
        sent=session.sent(request.form.get("request_id")),
        notice_id=the_notice(number).id,
        end=request.form.get("end", ""),
        words=request.form.get("words", ""),
        anyway=request.form.get("way_on") == "close-anyway",
        at=moment_of("at"),
    )
    close_notice(asked, site=session.site())
    return redirect(url_for("notices.page", number=number))


@pages.post("/notices/<number>/reopen")
def reopen(number: str) -> ResponseReturnValue:
    """Open it again."""
    asked = ReopenNotice(
        sent=session.sent(request.form.get("request_id")),
        notice_id=the_notice(number).id,
        words=request.form.get("words", ""),
        at=moment_of("at"),
    )
    reopen_notice(asked, site=session.site())
    return redirect(url_for("notices.page", number=number))
