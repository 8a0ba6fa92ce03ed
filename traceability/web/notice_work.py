"""Working a notice off: its tasks, its stock first, and the rows of an answer."""

from flask import Blueprint, Response, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from werkzeug.exceptions import NotFound

from traceability import notice_messages as words
from traceability.actions.notice.stock import HoldStock, hold_stock
from traceability.actions.notice.tasks import AddTask, SayTasks, add_task, say_tasks
from traceability.domain.known_rows import KnownRow, Subject, key_of
from traceability.domain.notice_tasks import ENDS, kinds_for, may_do
from traceability.domain.people import Right
from traceability.errors import BadValue, NoScope
from traceability.notice_papers import pick_lines, pick_sheet
from traceability.printing.table_sheet import render_table_sheet
from traceability.reads.lists import people, site_facts
from traceability.reads.notice_answers import (
    SHELVES,
    AskingFacts,
    changes_since,
    newest_asking,
    rows_of,
)
from traceability.reads.notice_answers import asking as asking_of
from traceability.reads.notice_stock import leaves, stock_rows
from traceability.reads.notice_tasks import flagged, task_counts, tasks
from traceability.reads.notices import NoticeFacts
from traceability.reads.row_names import row_names
from traceability.recall_messages import REASONS
from traceability.web import session
from traceability.web.forms import moment_of, number_in
from traceability.web.notice_acts import asked_no
from traceability.web.notices import day_of, the_notice
from traceability.web.papers import pdf

pages = Blueprint("notice_work", __name__)

A_PAGE = 200
"""Rows or tasks on one page."""


def the_asking(notice: NoticeFacts, number: int | None = None) -> AskingFacts:
    """Return the newest asking, or the one of that number.

    Raises:
        NoScope: nothing was asked yet. NotFound: there is none of that number.
    """
    ours = session.services()
    with ours.reads() as reads:
        if number is not None:
            found = asking_of(reads, ours.site.id, notice.id, number)
            if found is None:
                raise NotFound
            return found
        newest = newest_asking(reads, notice.id, ours.site.id)
    if newest is None:
        raise NoScope(number=notice.number)
    return newest


@pages.get("/notices/<number>/tasks")
def tasks_page(number: str) -> ResponseReturnValue:
    """Show the tasks by what they are about, with the form that ends the ticked ones."""
    session.need(Right.ASK)
    notice, ours = the_notice(number), session.services()
    with ours.reads() as reads:
        found = {
            subject: tasks(reads, ours.site.id, notice.id, subject=subject, most=A_PAGE)
            for subject in Subject
        }
        counts = task_counts(reads, ours.site.id, notice.id)
        persons = [each for each in people(reads, ours.site.id) if each.active]
    person = session.who()
    rights = person.rights if person else frozenset()
    groups = [
        {
            "subject": subject,
            "tasks": found[subject],
            "kinds": kinds_for(subject),
            "of": sum(each.count for each in counts if each.subject is subject),
            "ways": [
                (kind, [(end, words.ENDINGS[end]) for end in ENDS[kind]])
                for kind in kinds_for(subject)
                if may_do(kind, rights)
            ],
        }
        for subject in Subject
    ]
    return render_template(
        "notice_tasks.html",
        n=notice,
        groups=[each for each in groups if each["tasks"]],
        people=persons,
        words=words,
        nav="notices",
    )


@pages.post("/notices/<number>/tasks")
def say(number: str) -> ResponseReturnValue:
    """Say how far the ticked tasks are: "under-way", "to-do", or "done:kind:ending"."""
    state, _, rest = request.form.get("do", "").partition(":")
    kind, _, ending = rest.partition(":")
    asked = SayTasks(
        sent=session.sent(request.form.get("request_id")),
        notice_id=the_notice(number).id,
        task_ids=[session.key(each, "task") for each in request.form.getlist("task")],
        state=state,
        task_kind=kind,
        ending=ending,
        words=request.form.get("words", ""),
        witness_id=session.key_or_none(request.form.get("witness"), "witness"),
        assignee_id=session.key_or_none(request.form.get("assignee"), "person"),
        due_on=day_of("due_on"),
        at=moment_of("at"),
    )
    say_tasks(asked, site=session.site())
    back = "notice_work.tasks_page" if request.form.get("back") != "notice" else "notices.page"
    return redirect(url_for(back, number=number))


@pages.post("/notices/<number>/tasks/add")
def add(number: str) -> ResponseReturnValue:
    """Add a task about the row of another one."""
    asked = AddTask(
        sent=session.sent(request.form.get("request_id")),
        notice_id=the_notice(number).id,
        row_key=request.form.get("row", ""),
        task_kind=request.form.get("kind", ""),
        assignee_id=session.key_or_none(request.form.get("assignee"), "person"),
        due_on=day_of("due_on"),
    )
    add_task(asked, site=session.site())
    return redirect(url_for("notice_work.tasks_page", number=number))


@pages.get("/notices/<number>/stock")
def stock_page(number: str) -> ResponseReturnValue:
    """Show what is on the shelves, and what holding it leaves."""
    session.need(Right.ASK)
    notice, ours = the_notice(number), session.services()
    asking = the_asking(notice)
    with ours.reads() as reads:
        rows = rows_of(reads, ours.site.id, notice.id, subject=Subject.STOCK)
        in_stock = stock_rows(rows)
        names = row_names(reads, ours.site.id, in_stock)
        flags = flagged(reads, ours.site.id, notice.id)
        left = leaves(
            reads,
            ours.site.id,
            rows,
            frozenset(each.name.name for each in flags),
            ours.now(),
            ours.settings.zone_info,
        )
    return render_template(
        "notice_stock.html",
        n=notice,
        asking=asking,
        rows=sorted(in_stock, key=lambda row: (names[row.key].place, names[row.key].name)),
        names=names,
        flags=flags,
        left=left,
        to_hold=len({key_of(row.key).ids[:2] for row in in_stock if not names[row.key].on_hold}),
        words=words,
        nav="notices",
    )


@pages.post("/notices/<number>/stock/hold")
def hold(number: str) -> ResponseReturnValue:
    """Hold all of it at once."""
    asked = HoldStock(
        sent=session.sent(request.form.get("request_id")),
        notice_id=the_notice(number).id,
        asked_no=asked_no(),
        at=moment_of("at"),
    )
    hold_stock(asked, site=session.site())
    return redirect(url_for("notice_work.stock_page", number=number))


@pages.get("/notices/<number>/pick.pdf")
def pick_list(number: str) -> Response:
    """Give the pick list by place, on A4."""
    session.need(Right.ASK)
    notice, ours = the_notice(number), session.services()
    asking = the_asking(notice)
    with ours.reads() as reads:
        rows = stock_rows(rows_of(reads, ours.site.id, notice.id, subject=Subject.STOCK))
        lines = pick_lines(rows, row_names(reads, ours.site.id, rows))
        site = site_facts(reads)
    sheet = pick_sheet(notice, asking, lines, site=site, zone=ours.settings.zone_info)
    return pdf(render_table_sheet(sheet), f"pick-list-{notice.number}")


@pages.get("/notices/<number>/answer")
def answer_page(number: str) -> ResponseReturnValue:
    """Show the rows of the newest answer, or exactly as an earlier asking had them."""
    session.need(Right.ASK)
    notice, ours = the_notice(number), session.services()
    asking = the_asking(notice, _number("asked"))
    skip = _number("from") or 0
    with ours.reads() as reads:
        rows = rows_of(reads, ours.site.id, notice.id, asking.number)
        groups = [
            (subject, shelf, found)
            for subject in Subject
            for shelf in SHELVES
            if (found := [row for row in rows if _is(row, subject) and row.shelf is shelf])
        ]
        shown = [row for _, _, found in groups for row in found[skip : skip + A_PAGE]]
        names = row_names(reads, ours.site.id, shown)
    return render_template(
        "notice_answer.html",
        n=notice,
        asking=asking,
        is_newest=_number("asked") is None,
        groups=[
            (subject, shelf, found[skip : skip + A_PAGE], len(found))
            for subject, shelf, found in groups
        ],
        skip=skip,
        a_page=A_PAGE,
        names=names,
        reasons=REASONS,
        words=words,
        zone=ours.settings.zone_info,
        nav="notices",
    )


def _is(row: KnownRow, subject: Subject) -> bool:
    return row.key.startswith(f"{subject} ")


def _number(name: str) -> int | None:
    text = request.args.get(name, "")
    number = number_in(text)
    if text and number is None:
        raise BadValue(field="entry number", value=text, why="no-number")
    return number


@pages.get("/notices/<number>/changes")
def changes_page(number: str) -> ResponseReturnValue:
    """Show all that changed between two askings."""
    session.need(Right.ASK)
    notice, ours = the_notice(number), session.services()
    before, after = the_asking(notice, _number("from")), the_asking(notice, _number("to"))
    with ours.reads() as reads:
        _, changed = changes_since(reads, ours.site.id, notice.id, before, after)
    return render_template(
        "notice_changes.html",
        n=notice,
        before=before,
        after=after,
        changed=changed,
        words=words,
        zone=ours.settings.zone_info,
        nav="notices",
    )
