"""What goes out about a notice: the reply to the sender, and the list for letters."""

from flask import Blueprint, Response, redirect, request, url_for
from flask.typing import ResponseReturnValue
from werkzeug.exceptions import NotFound

from traceability.actions.notice.close import MakeReply, make_reply
from traceability.domain.exposure import Shelf
from traceability.domain.known_rows import Subject, key_of
from traceability.domain.notice_tasks import TaskKind
from traceability.domain.people import Right
from traceability.errors import NoScope
from traceability.notice_messages import ENDINGS
from traceability.notice_papers import merge_csv, reply_csv, reply_sheet, told_words
from traceability.printing.table_sheet import render_table_sheet
from traceability.reads.lists import site_facts
from traceability.reads.lot_account import lot_accounts
from traceability.reads.notice_answers import AskingFacts, ReplyFacts, replies, rows_of
from traceability.reads.notice_answers import asking as asking_of
from traceability.reads.notice_tasks import tasks
from traceability.reads.notices import NoticeFacts, scopes
from traceability.reads.row_names import row_names
from traceability.reads.runs import patient_text
from traceability.scope_messages import scope_sentences
from traceability.web import session
from traceability.web.notice_acts import asked_no
from traceability.web.notice_work import the_asking
from traceability.web.notices import the_notice
from traceability.web.papers import pdf

pages = Blueprint("notice_papers", __name__)


@pages.post("/notices/<number>/replies")
def reply(number: str) -> ResponseReturnValue:
    """Make a reply from the newest answer: a number for each lot, as of its cut."""
    session.need(Right.NOTICE_REPLIES)
    notice, ours = the_notice(number), session.services()
    asking = the_asking(notice)
    with ours.reads() as reads:
        versions = scopes(reads, ours.site.id, notice.id)
        asked = next((each for each in versions if each.version == asking.version), None)
        if asked is None:
            raise NoScope(number=notice.number)
        lines = lot_accounts(
            reads,
            ours.site.id,
            asked.scope,
            rows_of(reads, ours.site.id, notice.id, asking.number),
            asking.cut_no,
        )
    act = MakeReply(
        sent=session.sent(request.form.get("request_id")),
        notice_id=notice.id,
        asked_no=asked_no(),
        cut_no=asking.cut_no,
        lines=[each.body() for each in lines],
    )
    make_reply(act, site=session.site())
    return redirect(url_for("notices.page", number=number, _anchor="replies"))


def _reply(notice: NoticeFacts, entry: int) -> tuple[ReplyFacts, AskingFacts]:
    ours = session.services()
    with ours.reads() as reads:
        for each in replies(reads, ours.site.id, notice.id):
            asking = asking_of(reads, ours.site.id, notice.id, each.asked_no)
            if each.number == entry and asking is not None:
                return each, asking
    raise NotFound


@pages.get("/notices/<number>/replies/<int:entry>.csv")
def reply_table(number: str, entry: int) -> Response:
    """Give a reply as a table, as it was made."""
    session.need(Right.ASK)
    notice = the_notice(number)
    return _csv(reply_csv(notice, *_reply(notice, entry)), f"reply-{notice.number}-{entry}")


@pages.get("/notices/<number>/replies/<int:entry>.pdf")
def reply_paper(number: str, entry: int) -> Response:
    """Give a reply on A4, as it was made."""
    session.need(Right.ASK)
    notice, ours = the_notice(number), session.services()
    made, asking = _reply(notice, entry)
    zone = ours.settings.zone_info
    with ours.reads() as reads:
        site = site_facts(reads)
        asked = [
            sentence
            for each in scopes(reads, ours.site.id, notice.id)
            if each.version == asking.version
            for sentence in scope_sentences(each.scope, zone)
        ]
    sheet = reply_sheet(notice, made, asking, asked, site=site, zone=zone)
    return pdf(render_table_sheet(sheet), f"reply-{notice.number}-{entry}")


@pages.get("/notices/<number>/letters.csv")
def letters(number: str) -> Response:
    """Give the list for letters; patients only to who may see them."""
    session.need(Right.ASK)
    notice, ours = the_notice(number), session.services()
    asking = the_asking(notice)
    with ours.reads() as reads:
        rows = [
            row
            for row in rows_of(reads, ours.site.id, notice.id, asking.number)
            if key_of(row.key).subject in {Subject.PATIENT, Subject.RUN}
            and row.shelf is not Shelf.EXCLUDED
        ]
        patients = (
            {row.key: patient_text(reads, ours.site.id, row.runs[0]) for row in rows if row.runs}
            if session.may(Right.SEE_PATIENTS)
            else {}
        )
        text = merge_csv(
            notice,
            asking,
            rows,
            row_names(reads, ours.site.id, rows),
            patients,
            told_words(
                tasks(reads, ours.site.id, notice.id, kind=TaskKind.INFORM, done=True), ENDINGS
            ),
            ours.settings.zone_info,
        )
    return _csv(text, f"letters-{notice.number}")


def _csv(text: str, name: str) -> Response:
    answer = Response(text, mimetype="text/csv")
    answer.headers["Content-Disposition"] = f'attachment; filename="{name}.csv"'
    return answer
