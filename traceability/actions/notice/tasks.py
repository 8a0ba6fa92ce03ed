"""Work tasks off: take them on, end them with an outcome, open them again, add one by hand."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import ClassVar
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.actions.notice.standing import apart, the_open_notice
from traceability.actions.once import Asked, Done, Site, answer_once, entered, ledger_of
from traceability.domain.events import Kind
from traceability.domain.known_rows import Subject, key_of
from traceability.domain.moments import believed_moment
from traceability.domain.notice_tasks import (
    ENDS,
    NEEDS_WITNESS,
    NEEDS_WORDS,
    Ending,
    TaskKind,
    TaskState,
    kinds_for,
    may_do,
    task_key,
    ways_on,
)
from traceability.domain.people import Right
from traceability.errors import BadValue, NotAllowed, SamePerson, UnknownCode
from traceability.security.roles import rights_of_person, service_device
from traceability.storage.ledger import OpenLedger
from traceability.storage.lookup import hold_on
from traceability.storage.notice_life import Notice
from traceability.storage.notice_lookup import AT_ONCE, tasks_of
from traceability.storage.notice_tasks import NoticeTask, NoticeTaskState
from traceability.storage.people import Person


@dataclass(frozen=True, slots=True, kw_only=True)
class SayTasks(Asked):
    """How far these tasks are; many can end alike at once."""

    kind: ClassVar[str] = "say-tasks"
    right: ClassVar[Right | None] = Right.ACT
    """Which right it needs depends on the kinds and is checked with them."""
    notice_id: UUID
    task_ids: Sequence[UUID]
    state: str
    task_kind: str = ""
    """What is done in the end; empty: as proposed."""
    ending: str = ""
    words: str = ""
    """Why, who decided, which hospital: kept apart."""
    witness_id: UUID | None = None
    assignee_id: UUID | None = None
    due_on: date | None = None
    at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class AddTask(Asked):
    """Something more is to be done about a row."""

    kind: ClassVar[str] = "add-task"
    right: ClassVar[Right | None] = Right.NOTICES
    notice_id: UUID
    row_key: str
    task_kind: str
    assignee_id: UUID | None = None
    due_on: date | None = None


def say_tasks(asked: SayTasks, *, site: Site) -> Done:
    """Record how far the tasks are. A circuit that is held by its task goes on hold with it.

    Raises:
        UnknownCode, NoticeClosed, BadValue (an ending without its words or witness), SamePerson
        (the witness is who did it), NotAllowed. Nothing was written.
    """
    return answer_once(asked, _say, site)


def add_task(asked: AddTask, *, site: Site) -> Done:
    """Record the task.

    Raises:
        UnknownCode, NoticeClosed, BadValue: nothing was written.
    """
    return answer_once(asked, _add, site)


def _say(asked: SayTasks, session: Session, site: Site) -> Done:
    notice = the_open_notice(session, site, asked.notice_id)
    chosen = list(dict.fromkeys(asked.task_ids))
    if not chosen:
        raise BadValue(field="task", value="", why="empty")
    if len(chosen) > AT_ONCE:
        raise BadValue(field="tasks", value=str(len(chosen)), why="too-long")
    named = session.execute(tasks_of(notice).where(NoticeTask.id.in_(chosen)))
    mine = {task.id: (task, state) for task, state in named}
    for each in chosen:
        if each not in mine:
            raise UnknownCode(what="task", value=str(each))
    _one_of("state", asked.state, [*TaskState])
    for each in chosen:
        task, state = mine[each]
        _may(session, site, asked, TaskKind(asked.task_kind or state.kind))
        # Whoever may end another kind only must not end a consultant's task as that kind.
        _may(session, site, asked, TaskKind(state.kind))
        _fits(asked, task, state)
    _person(session, site, asked.assignee_id)
    ledger = ledger_of(asked, session, site)
    at, noted = believed_moment(asked.at, now=ledger.now)
    body = {
        "notice": notice.id,
        "tasks": chosen,
        "state": asked.state,
        "kind": asked.task_kind or None,
        "ending": asked.ending if asked.state == TaskState.DONE else "",
        "words": apart(session, asked.words, ledger.now),
        "witness": asked.witness_id,
        "assignee": asked.assignee_id,
        "due_on": asked.due_on and asked.due_on.isoformat(),
        "device_at": asked.at,
        "cautions": noted,
    }
    first = ledger.append(Kind.NOTICE_TASK_SAID, body, happened_at=at)
    last = first
    if asked.ending == Ending.HELD and asked.state == TaskState.DONE:
        last = _hold(session, ledger, notice, [mine[each][0] for each in chosen], at) or first
    return Done(
        first_no=first,
        last_no=last,
        subject=notice.id,
        code=Kind.NOTICE_TASK_SAID,
        facts={"number": notice.number, "tasks": len(chosen)},
        cautions=noted,
    )


def _one_of(field: str, value: str, allowed: Sequence[str]) -> None:
    if value not in allowed:
        raise BadValue(field=field, value=value, why="not-one-of", of=allowed)


def _may(session: Session, site: Site, asked: SayTasks, kind: TaskKind) -> None:
    """Ending a task needs the right of its kind; taking it on or handing it out, that of notices.

    Raises:
        NotAllowed.
    """
    if asked.sent.device_id == service_device(site.id):
        return
    rights = rights_of_person(session, site.id, asked.sent.actor_id)
    if asked.state != TaskState.DONE and Right.NOTICES in rights:
        return
    if not may_do(kind, rights):
        needed = Right.HOLD_CIRCUIT if kind in {TaskKind.HOLD, TaskKind.CHANGE_OUT} else None
        informs = Right.SEE_PATIENTS if kind is TaskKind.INFORM else Right.NOTICES
        raise NotAllowed(right=needed or informs, person="")


def _fits(asked: SayTasks, task: NoticeTask, state: NoticeTaskState) -> None:
    kind = TaskKind(asked.task_kind or state.kind)
    subject = key_of(task.row_key).subject
    _one_of("what was done", kind, ways_on(subject, TaskKind(state.kind)))
    if asked.state != TaskState.DONE:
        return
    _one_of("how it ended", asked.ending, ENDS[kind])
    if Ending(asked.ending) in NEEDS_WORDS and not asked.words.strip():
        raise BadValue(field="why, or who decided", value="", why="empty")
    if kind in NEEDS_WITNESS and asked.ending == Ending.DONE:
        if asked.witness_id is None:
            raise BadValue(field="witness", value="", why="empty")
        if asked.witness_id == asked.sent.actor_id:
            raise SamePerson(person="")


def _person(session: Session, site: Site, person_id: UUID | None) -> None:
    if person_id is not None and session.get(Person, (site.id, person_id)) is None:
        raise UnknownCode(what="person", value=str(person_id))


def _hold(
    session: Session,
    ledger: OpenLedger,
    notice: Notice,
    tasks: Sequence[NoticeTask],
    at: datetime,
) -> int:
    """Put the circuits on hold that are not yet; return the last number, 0 if there was none."""
    last = 0
    for task in tasks:
        key = key_of(task.row_key)
        circuit_id = key.ids[0]
        if key.subject is not Subject.CIRCUIT or circuit_id is None:
            continue
        if hold_on(session, notice.site_id, circuit_id) is None:
            body = {
                "subject": "circuit",
                "subject_id": circuit_id,
                "reason": "notice",
                "notice": notice.number,
                "cautions": (),
            }
            last = ledger.append(Kind.HELD, body, happened_at=at)
    return last


def _add(asked: AddTask, session: Session, site: Site) -> Done:
    notice = the_open_notice(session, site, asked.notice_id)
    try:
        key = key_of(asked.row_key)
    except ValueError:
        raise UnknownCode(what="row of the answer", value=asked.row_key[:60]) from None
    _one_of("what is to be done", asked.task_kind, kinds_for(key.subject))
    _person(session, site, asked.assignee_id)
    kind = TaskKind(asked.task_kind)
    task_id = task_key(notice.id, asked.row_key, kind)
    if session.get(NoticeTask, (site.id, task_id)) is not None:
        raise BadValue(field="task", value="", why="task-there")
    ledger = ledger_of(asked, session, site)
    body = {
        "notice": notice.id,
        "task": task_id,
        "key": asked.row_key,
        "kind": kind,
        "assignee": asked.assignee_id,
        "due_on": asked.due_on and asked.due_on.isoformat(),
        "cautions": (),
    }
    return entered(ledger, Kind.NOTICE_TASK_ADDED, body, at=ledger.now, subject=notice.id)
