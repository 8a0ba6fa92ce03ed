"""Notices as pages need them: the list, and one with its letters, scope and where it stands."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from traceability.domain.deadlines import WorkCalendar, work_days_left
from traceability.domain.notice_scope import Scope, read_scope
from traceability.domain.notice_tasks import TaskState
from traceability.domain.notices import Due, read_due
from traceability.storage.kept_apart import KeptApart
from traceability.storage.notice_life import (
    Notice,
    NoticeFile,
    NoticeLetter,
    NoticeScope,
    NoticeState,
)
from traceability.storage.notice_lookup import notice_by_number, notice_state, work_calendar
from traceability.storage.notice_tasks import NoticeTask, NoticeTaskState
from traceability.storage.people import Person


@dataclass(frozen=True, slots=True, kw_only=True)
class FileFacts:
    """A file of a letter."""

    id: UUID
    name: str
    """Empty once it has been erased."""
    media_type: str
    size_bytes: int
    sha256: str
    erased: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class LetterFacts:
    """One letter."""

    id: UUID
    sender_kind: str
    sender: str
    reference: str
    stated_class: str
    dated_on: date | None
    received_at: datetime
    received_by: str
    text: str
    files: tuple[FileFacts, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ScopeFacts:
    """One version of the scope."""

    version: int
    scope: Scope
    source: str
    at: datetime
    by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    """How many tasks there are and how many are done."""

    done: int
    under_way: int
    of: int


@dataclass(frozen=True, slots=True, kw_only=True)
class NoticeFacts:
    """A notice and where it stands."""

    id: UUID
    number: str
    title: str
    received_at: datetime
    received_by: str
    ended: str
    """Code of how it was closed; empty: open."""
    words: str
    due: Due
    days_left: int | None
    """Work days up to and including the due day; below zero when past. None: nothing is due."""
    acted_on: date | None
    references: tuple[str, ...]
    senders: tuple[str, ...]
    progress: Progress

    @property
    def is_open(self) -> bool:
        """Whether something may still be added."""
        return not self.ended


def notices(session: Session, site_id: UUID, today: date) -> list[NoticeFacts]:
    """Return all notices: open ones first, the nearest due day first, then the newest."""
    _, calendar = work_calendar(session, site_id)
    rows = session.execute(
        select(Notice, NoticeState)
        .join(
            NoticeState,
            (NoticeState.site_id == Notice.site_id) & (NoticeState.notice_id == Notice.id),
        )
        .where(
            Notice.site_id == site_id,
            NoticeState.superseded_no.is_(None),
            NoticeState.valid_to.is_(None),
        )
    )
    found = [_facts(session, notice, state, today, calendar) for notice, state in rows]
    found.sort(key=lambda each: each.received_at, reverse=True)
    return sorted(found, key=lambda each: (not each.is_open, each.due.on or date.max))


def notice_facts(session: Session, site_id: UUID, number: str, today: date) -> NoticeFacts | None:
    """Return the notice of that number, or None."""
    notice = notice_by_number(session, site_id, number)
    if notice is None:
        return None
    _, calendar = work_calendar(session, site_id)
    return _facts(session, notice, notice_state(session, notice), today, calendar)


def _facts(
    session: Session, notice: Notice, state: NoticeState, today: date, calendar: WorkCalendar
) -> NoticeFacts:
    due = read_due(json.loads(state.due))
    letters = session.scalars(
        select(NoticeLetter)
        .filter_by(site_id=notice.site_id, notice_id=notice.id)
        .order_by(NoticeLetter.recorded_no)
    ).all()
    return NoticeFacts(
        id=notice.id,
        number=notice.number,
        title=kept_text(session, notice.title_id),
        received_at=notice.received_at,
        received_by=person_name(session, notice.site_id, notice.received_by),
        ended=state.ended,
        words=kept_text(session, state.words_id),
        due=due,
        days_left=None if due.on is None else work_days_left(today, due.on, calendar),
        acted_on=state.acted_on,
        references=tuple(dict.fromkeys(each.reference for each in letters if each.reference)),
        senders=tuple(dict.fromkeys(kept_text(session, each.sender_id) for each in letters)),
        progress=progress_of(session, notice),
    )


def progress_of(session: Session, notice: Notice) -> Progress:
    """Return how far the notice's tasks are."""
    rows = session.execute(
        select(NoticeTaskState.state, func.count())
        .join(
            NoticeTask,
            (NoticeTask.site_id == NoticeTaskState.site_id)
            & (NoticeTask.id == NoticeTaskState.task_id),
        )
        .where(
            NoticeTask.site_id == notice.site_id,
            NoticeTask.notice_id == notice.id,
            NoticeTaskState.superseded_no.is_(None),
            NoticeTaskState.valid_to.is_(None),
        )
        .group_by(NoticeTaskState.state)
    )
    counts = {state: int(count) for state, count in rows}
    return Progress(
        done=counts.get(TaskState.DONE, 0),
        under_way=counts.get(TaskState.UNDER_WAY, 0),
        of=sum(counts.values()),
    )


def letters(session: Session, site_id: UUID, notice_id: UUID) -> list[LetterFacts]:
    """Return the notice's letters with their files, oldest first."""
    rows = (
        select(NoticeLetter)
        .filter_by(site_id=site_id, notice_id=notice_id)
        .order_by(NoticeLetter.recorded_no)
    )
    return [
        LetterFacts(
            id=each.id,
            sender_kind=each.sender_kind,
            sender=kept_text(session, each.sender_id),
            reference=each.reference,
            stated_class=each.stated_class,
            dated_on=each.dated_on,
            received_at=each.received_at,
            received_by=person_name(session, site_id, each.received_by),
            text=kept_text(session, each.text_id),
            files=tuple(_files(session, site_id, each.id)),
        )
        for each in session.scalars(rows)
    ]


def _files(session: Session, site_id: UUID, letter_id: UUID) -> Sequence[FileFacts]:
    rows = (
        select(NoticeFile)
        .filter_by(site_id=site_id, letter_id=letter_id)
        .order_by(NoticeFile.recorded_no, NoticeFile.line)
    )
    return [_file(session, each) for each in session.scalars(rows)]


def letter_file(session: Session, site_id: UUID, number: str, file_id: UUID) -> FileFacts | None:
    """Return a file of a letter of that notice, or None."""
    notice, file = (
        notice_by_number(session, site_id, number),
        session.get(NoticeFile, (site_id, file_id)),
    )
    if notice is None or file is None:
        return None
    letter = session.get_one(NoticeLetter, (site_id, file.letter_id))
    return _file(session, file) if letter.notice_id == notice.id else None


def _file(session: Session, file: NoticeFile) -> FileFacts:
    return FileFacts(
        id=file.id,
        name=kept_text(session, file.name_id),
        media_type=file.media_type,
        size_bytes=file.size_bytes,
        sha256=file.sha256,
        erased=file.superseded_no is not None,
    )


def scopes(session: Session, site_id: UUID, notice_id: UUID) -> list[ScopeFacts]:
    """Return the versions of the scope, newest first."""
    rows = (
        select(NoticeScope)
        .filter_by(site_id=site_id, notice_id=notice_id)
        .order_by(NoticeScope.version.desc())
    )
    return [
        ScopeFacts(
            version=each.version,
            scope=read_scope(json.loads(each.body)),
            source=kept_text(session, each.source_id),
            at=each.at,
            by=person_name(session, site_id, each.person_id),
        )
        for each in session.scalars(rows)
    ]


def open_scopes(session: Session, site_id: UUID) -> list[tuple[UUID, int, Scope]]:
    """Return id, version and newest scope of each open notice that has one."""
    rows = select(NoticeState.notice_id).where(
        NoticeState.site_id == site_id,
        NoticeState.ended == "",
        NoticeState.superseded_no.is_(None),
        NoticeState.valid_to.is_(None),
    )
    found = []
    for notice_id in session.scalars(rows.order_by(NoticeState.notice_id)):
        newest = scopes(session, site_id, notice_id)[:1]
        found += [(notice_id, each.version, each.scope) for each in newest]
    return found


def kept_text(session: Session, kept_id: UUID | None) -> str:
    """Return a text kept apart; empty where there is none or it was erased."""
    kept = session.get(KeptApart, kept_id) if kept_id else None
    return (kept.text or "") if kept else ""


def person_name(session: Session, site_id: UUID, person_id: UUID | None) -> str:
    """Return a person's name; empty for nobody."""
    person = session.get(Person, (site_id, person_id)) if person_id else None
    return person.name if person else ""
