"""Ask a notice's scope again, keep what changed, and propose what is to be done about new rows.

The answer is computed before, by whoever calls; here it is compared with the last one and only
the difference is written. Asked twice with nothing new in between, the record stays as it is.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, ClassVar
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.actions.notice.standing import apart, the_open_notice
from traceability.actions.once import Asked, Done, Site, answer_once, entered, ledger_of
from traceability.domain.events import Kind
from traceability.domain.known_rows import KnownRow, read_row, row_body
from traceability.domain.notice_tasks import Proposal, proposals, task_key
from traceability.domain.people import Right
from traceability.errors import NoScope, StaleForm
from traceability.storage.notice_life import Notice
from traceability.storage.notice_lookup import (
    known_rows,
    newest_answer,
    newest_scope,
    phases_of,
    tasks_of,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class AskNotice(Asked):
    """What the scope's newest answer says."""

    kind: ClassVar[str] = "ask-notice"
    right: ClassVar[Right | None] = Right.NOTICES
    notice_id: UUID
    version: int
    """Of the scope that was asked."""
    cut_no: int
    digest: str
    counts: Mapping[str, int]
    coverage: Mapping[str, Any]
    rows: Sequence[Mapping[str, Any]]
    """Rows as `domain.known_rows.row_body` writes them."""
    in_any_case: bool = False
    """Write it down even where nothing changed: a person wants it as of now."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GiveAnswer(Asked):
    """The answer of an asking was given to somebody outside."""

    kind: ClassVar[str] = "give-answer"
    right: ClassVar[Right | None] = Right.NOTICE_REPLIES
    notice_id: UUID
    asked_no: int
    """The asking that was on the screen."""
    to: str
    """To whom and how, in words."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LookAt(Asked):
    """A person looked at what changed, and nothing more is to be said of it."""

    kind: ClassVar[str] = "look-at-notice"
    right: ClassVar[Right | None] = Right.NOTICES
    notice_id: UUID
    asked_no: int


def ask_notice(asked: AskNotice, *, site: Site) -> Done:
    """Record what changed since the last asking; code "nothing-new" where nothing is written.

    Raises:
        NoScope, StaleForm: nothing, or another version, was asked. UnknownCode, NoticeClosed.
        Nothing was written.
    """
    return answer_once(asked, _ask, site)


def give_answer(asked: GiveAnswer, *, site: Site) -> Done:
    """Record that the answer was given, exactly as that asking had it.

    Raises:
        StaleForm: a newer asking is there; look at it first. UnknownCode, NoticeClosed.
    """
    return answer_once(asked, _give, site)


def look_at(asked: LookAt, *, site: Site) -> Done:
    """Record that somebody looked.

    Raises:
        StaleForm: a newer asking is there. UnknownCode, NoticeClosed. Nothing was written.
    """
    return answer_once(asked, _look, site)


def _ask(asked: AskNotice, session: Session, site: Site) -> Done:
    notice = the_open_notice(session, site, asked.notice_id)
    ledger = ledger_of(asked, session, site)
    scope, last = newest_scope(session, notice), newest_answer(session, notice)
    if scope is None:
        raise NoScope(number=notice.number)
    if scope.version != asked.version:
        raise StaleForm(number=scope.version)
    if last is not None and last.cut_no > asked.cut_no:
        return _nothing_new(last.recorded_no, notice)
    new = {row.key: row for row in map(read_row, asked.rows)}
    old = {row.key: row for row in known_rows(session, notice)}
    changed = [row for key, row in sorted(new.items()) if old.get(key) != row]
    gone = sorted(old.keys() - new.keys())
    tasks, left, back = _tasks(session, notice, new.values())
    same = not (changed or gone or tasks or left or back) and last is not None
    if same and last is not None and last.scope_version == asked.version and not asked.in_any_case:
        return _nothing_new(last.recorded_no, notice)
    body = {
        "notice": notice.id,
        "version": asked.version,
        "cut_no": asked.cut_no,
        "digest": asked.digest,
        "counts": asked.counts,
        "coverage": asked.coverage,
        "rows": [row_body(row) for row in changed],
        "gone": gone,
        "tasks": [
            {"task": task_key(notice.id, each.key, each.kind), "key": each.key, "kind": each.kind}
            for each in tasks
        ],
        "left": left,
        "back": back,
        "cautions": (),
    }
    return entered(
        ledger,
        Kind.NOTICE_ASKED,
        body,
        at=ledger.now,
        subject=notice.id,
        facts={
            "number": notice.number,
            "changed": len(changed) + len(gone),
            "tasks": len(tasks),
        },
    )


def _nothing_new(number: int, notice: Notice) -> Done:
    return Done(
        first_no=number,
        last_no=number,
        subject=notice.id,
        code="nothing-new",
        facts={"number": notice.number, "changed": 0, "tasks": 0},
    )


def _tasks(
    session: Session, notice: Notice, rows: Iterable[KnownRow]
) -> tuple[list[Proposal], list[str], list[str]]:
    """Return tasks to add, and ids of those whose rows left the answer or are in it again."""
    rows = list(rows)
    there = {(task.row_key, task.kind) for task, _ in tasks_of(session, notice)}
    wanted = proposals(rows, phases_of(session, notice.site_id, [each.key for each in rows]))
    # An excluded row asks for nothing: its task is said to have left, and a person closes it.
    in_it = {each.key for each in wanted}
    left, back = [], []
    for task, state in tasks_of(session, notice):
        if state.in_answer and task.row_key not in in_it:
            left.append(str(task.id))
        elif not state.in_answer and task.row_key in in_it:
            back.append(str(task.id))
    new = [each for each in wanted if (each.key, str(each.kind)) not in there]
    return new, left, back


def _give(asked: GiveAnswer, session: Session, site: Site) -> Done:
    notice = the_open_notice(session, site, asked.notice_id)
    ledger = ledger_of(asked, session, site)
    last = newest_answer(session, notice)
    if last is None:
        raise NoScope(number=notice.number)
    if last.recorded_no != asked.asked_no:
        raise StaleForm(number=last.recorded_no)
    body = {
        "notice": notice.id,
        "asked_no": last.recorded_no,
        "version": last.scope_version,
        "cut_no": last.cut_no,
        "digest": last.digest,
        "to": apart(session, asked.to, ledger.now),
        "cautions": (),
    }
    facts = {"number": notice.number, "digest": last.digest}
    return entered(ledger, Kind.ANSWER_GIVEN, body, at=ledger.now, subject=notice.id, facts=facts)


def _look(asked: LookAt, session: Session, site: Site) -> Done:
    notice = the_open_notice(session, site, asked.notice_id)
    ledger = ledger_of(asked, session, site)
    last = newest_answer(session, notice)
    if last is None or last.recorded_no != asked.asked_no:
        raise StaleForm(number=last.recorded_no if last else 0)
    body = {"notice": notice.id, "asked_no": asked.asked_no, "cautions": ()}
    return entered(ledger, Kind.NOTICE_LOOKED_AT, body, at=ledger.now, subject=notice.id)
