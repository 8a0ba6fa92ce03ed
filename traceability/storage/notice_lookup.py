"""Loaders of notices: both the acts and the reads use them; nothing here writes or locks."""

import json
from collections.abc import Iterable, Sequence
from datetime import date
from typing import Final, TypeAlias
from uuid import UUID

from sqlalchemy import Select, func, select
from sqlalchemy.orm import Session

from traceability.domain.circuits import Phase
from traceability.domain.deadlines import WorkCalendar
from traceability.domain.known_rows import KnownRow, Subject, key_of, read_row
from traceability.domain.notice_tasks import TaskState
from traceability.storage.base import believed_at
from traceability.storage.circuits import CircuitPhase
from traceability.storage.notice_answers import (
    NoticeAnswer,
    NoticeAnswerGiven,
    NoticeAnswerRow,
    NoticeLook,
)
from traceability.storage.notice_life import Notice, NoticeScope, NoticeState, WorkDays
from traceability.storage.notice_tasks import NoticeTask, NoticeTaskState

AT_ONCE: Final = 500
"""Ids in one question; both databases take more."""


def work_calendar(session: Session, site_id: UUID) -> tuple[int, WorkCalendar]:
    """Return the version and the days the site works; Saturday and Sunday off where none is set."""
    rows = select(WorkDays).filter_by(site_id=site_id).order_by(WorkDays.version.desc()).limit(1)
    stored = session.scalar(rows)
    if stored is None:
        return 0, WorkCalendar()
    return stored.version, WorkCalendar(
        holidays=frozenset(date.fromisoformat(each) for each in json.loads(stored.holidays)),
        days_off=frozenset(json.loads(stored.days_off)),
    )


def notice_by_number(session: Session, site_id: UUID, number: str) -> Notice | None:
    """Return the notice of that number; upper and lower case are alike to people."""
    return session.scalar(select(Notice).filter_by(site_id=site_id, number=number.upper()))


def notice_state(session: Session, notice: Notice) -> NoticeState:
    """Return where it stands."""
    rows = select(NoticeState).filter_by(
        site_id=notice.site_id, notice_id=notice.id, superseded_no=None, valid_to=None
    )
    return session.scalars(rows).one()


def newest_scope(session: Session, notice: Notice) -> NoticeScope | None:
    """Return the scope in force; None before anybody said it."""
    rows = (
        select(NoticeScope)
        .filter_by(site_id=notice.site_id, notice_id=notice.id)
        .order_by(NoticeScope.version.desc())
        .limit(1)
    )
    return session.scalar(rows)


def newest_answer(session: Session, notice: Notice) -> NoticeAnswer | None:
    """Return the last asking; None before the first."""
    rows = (
        select(NoticeAnswer)
        .filter_by(site_id=notice.site_id, notice_id=notice.id)
        .order_by(NoticeAnswer.recorded_no.desc())
        .limit(1)
    )
    return session.scalar(rows)


def last_given(session: Session, notice: Notice) -> NoticeAnswerGiven | None:
    """Return the last answer that was given; None before the first."""
    rows = (
        select(NoticeAnswerGiven)
        .filter_by(site_id=notice.site_id, notice_id=notice.id)
        .order_by(NoticeAnswerGiven.recorded_no.desc())
        .limit(1)
    )
    return session.scalar(rows)


def looked_up_to(session: Session, notice: Notice) -> int:
    """Return the last asking that a person saw or gave; 0 where nobody did yet."""
    mine = {"site_id": notice.site_id, "notice_id": notice.id}
    looks = session.scalar(select(func.max(NoticeLook.asked_no)).filter_by(**mine))
    given = session.scalar(select(func.max(NoticeAnswerGiven.asked_no)).filter_by(**mine))
    return max(looks or 0, given or 0)


def known_rows(
    session: Session,
    notice: Notice,
    asked_no: int | None = None,
    *,
    subject: Subject | None = None,
    keys: Sequence[str] | None = None,
) -> list[KnownRow]:
    """Return rows of the newest answer, or as the asking of that number had them.

    With `subject` only those about such things, with `keys` only those of these keys.
    """
    rows = (
        select(NoticeAnswerRow.body)
        .where(
            NoticeAnswerRow.site_id == notice.site_id,
            NoticeAnswerRow.notice_id == notice.id,
            believed_at(NoticeAnswerRow, asked_no),
        )
        .order_by(NoticeAnswerRow.recorded_no, NoticeAnswerRow.line)
    )
    if subject is not None:
        rows = rows.where(NoticeAnswerRow.row_key.startswith(f"{subject} "))
    if keys is None:
        return [read_row(json.loads(body)) for body in session.scalars(rows)]
    found = []
    for start in range(0, len(keys), AT_ONCE):
        block = rows.where(NoticeAnswerRow.row_key.in_(keys[start : start + AT_ONCE]))
        found += [read_row(json.loads(body)) for body in session.scalars(block)]
    return found


Tasks: TypeAlias = Select[NoticeTask, NoticeTaskState]


def tasks_of(notice: Notice) -> Tasks:
    """Return the question for the notice's tasks with how far each is, in the order they came."""
    return (
        select(NoticeTask, NoticeTaskState)
        .join(
            NoticeTaskState,
            (NoticeTaskState.site_id == NoticeTask.site_id)
            & (NoticeTaskState.task_id == NoticeTask.id),
        )
        .where(
            NoticeTask.site_id == notice.site_id,
            NoticeTask.notice_id == notice.id,
            NoticeTaskState.superseded_no.is_(None),
            NoticeTaskState.valid_to.is_(None),
        )
        .order_by(NoticeTask.recorded_no, NoticeTask.id)
    )


def open_tasks(session: Session, notice: Notice) -> int:
    """Return how many tasks nobody has ended."""
    rows = tasks_of(notice).where(NoticeTaskState.state != TaskState.DONE)
    counted = rows.with_only_columns(func.count()).order_by(None)
    return session.scalar(counted) or 0


def phases_of(session: Session, site_id: UUID, keys: Iterable[str]) -> dict[UUID, Phase]:
    """Return the present phase of every circuit among the rows of these keys."""
    parsed = [key_of(text) for text in keys]
    circuits = (each for each in parsed if each.subject is Subject.CIRCUIT)
    ids = sorted({each.ids[0] for each in circuits if each.ids[0]})
    found: dict[UUID, Phase] = {}
    for start in range(0, len(ids), AT_ONCE):
        phases = select(CircuitPhase.circuit_id, CircuitPhase.phase).where(
            CircuitPhase.site_id == site_id,
            CircuitPhase.circuit_id.in_(ids[start : start + AT_ONCE]),
            CircuitPhase.superseded_no.is_(None),
            CircuitPhase.valid_to.is_(None),
        )
        found |= {row.circuit_id: Phase(row.phase) for row in session.execute(phases)}
    return found
