"""Notices, their letters and files, their scope's versions, and where they stand."""

from collections.abc import Mapping
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.domain.events import Kind, Plain, Recorded
from traceability.storage.notice_life import (
    Notice,
    NoticeFile,
    NoticeLetter,
    NoticeScope,
    NoticeState,
    WorkDays,
)
from traceability.storage.projections.beginnings import count_up
from traceability.storage.projections.registry import projects
from traceability.storage.projections.rows import add_link, open_links, replace, stored


def kept_id(event: Recorded, name: str) -> UUID | None:
    """Return the id of a text of the body that is kept apart; None where there is none."""
    rows = event.rows(name)
    return event.inner(rows[0]).key("kept") if rows else None


@projects(Kind.WORK_DAYS_SET)
def work_days_set(session: Session, event: Recorded) -> None:
    """Add the version."""
    session.add(
        WorkDays(
            site_id=event.site_id,
            version=event.number_of("version"),
            days_off=stored(event.body["days_off"]),
            holidays=stored(event.texts("holidays")),
            set_at=event.happened_at,
            recorded_no=event.number,
        )
    )


@projects(Kind.NOTICE_OPENED)
def notice_opened(session: Session, event: Recorded) -> None:
    """Add the notice, open, with what is due."""
    notice_id, title = event.key("notice"), kept_id(event, "title")
    session.add(
        Notice(
            site_id=event.site_id,
            id=notice_id,
            number=event.text("number"),
            title_id=title,
            received_at=event.happened_at,
            received_by=event.actor_id,
            opened_no=event.number,
        )
    )
    session.flush()
    count_up(session, event)
    due = event.inner(object_of(event, "due"))
    add_link(
        session,
        NoticeState,
        event,
        0,
        event.happened_at,
        notice_id=notice_id,
        ended="",
        words_id=None,
        due_on=due.day_or_none("on"),
        due=stored(due.body),
        acted_on=None,
    )


@projects(Kind.NOTICE_LETTER_ADDED)
def notice_letter_added(session: Session, event: Recorded) -> None:
    """Add the letter and its files."""
    letter_id = event.key("letter")
    session.add(
        NoticeLetter(
            site_id=event.site_id,
            id=letter_id,
            notice_id=event.key("notice"),
            recorded_no=event.number,
            sender_kind=event.text("sender_kind"),
            sender_id=kept_id(event, "sender"),
            reference=event.text("reference"),
            stated_class=event.text("stated_class"),
            dated_on=event.day_or_none("dated_on"),
            received_at=event.happened_at,
            received_by=event.actor_id,
            text_id=kept_id(event, "text"),
        )
    )
    session.flush()
    for line, row in enumerate(event.rows("files")):
        file = event.inner(row)
        session.add(
            NoticeFile(
                site_id=event.site_id,
                id=file.key("file"),
                letter_id=letter_id,
                recorded_no=event.number,
                line=line,
                name_id=kept_id(file, "name"),
                media_type=file.text("media_type"),
                size_bytes=file.number_of("size_bytes"),
                sha256=file.text("sha256"),
                superseded_no=None,
            )
        )


@projects(Kind.NOTICE_FILE_ERASED)
def notice_file_erased(session: Session, event: Recorded) -> None:
    """Say of the file that it is no more."""
    session.get_one(NoticeFile, (event.site_id, event.key("file"))).superseded_no = event.number


@projects(Kind.NOTICE_SCOPE_SET)
def notice_scope_set(session: Session, event: Recorded) -> None:
    """Add the version."""
    session.add(
        NoticeScope(
            site_id=event.site_id,
            notice_id=event.key("notice"),
            version=event.number_of("version"),
            body=stored(event.body["scope"]),
            source_id=kept_id(event, "source"),
            at=event.happened_at,
            person_id=event.actor_id,
            recorded_no=event.number,
        )
    )


@projects(Kind.NOTICE_DUE_SET)
def notice_due_set(session: Session, event: Recorded) -> None:
    """Say until when a reply is due from now on."""
    due = event.inner(object_of(event, "due"))
    _go_on(session, event, due_on=due.day_or_none("on"), due=stored(due.body))


@projects(Kind.NOTICE_ACTED_ON)
def notice_acted_on(session: Session, event: Recorded) -> None:
    """Say on which day it was acted on."""
    _go_on(session, event, acted_on=event.day_or_none("on"))


@projects(Kind.NOTICE_CLOSED)
def notice_closed(session: Session, event: Recorded) -> None:
    """Close it."""
    _go_on(session, event, ended=event.text("end"), words_id=kept_id(event, "words"))


@projects(Kind.NOTICE_REOPENED)
def notice_reopened(session: Session, event: Recorded) -> None:
    """Open it again."""
    _go_on(session, event, ended="", words_id=kept_id(event, "words"))


def _go_on(session: Session, event: Recorded, **changes: object) -> None:
    """Put a state with the changes in the place of the one before."""
    for row in open_links(session, NoticeState, event, notice_id=event.key("notice")):
        replace(session, row, event, 0, **changes)


def object_of(event: Recorded, name: str) -> Mapping[str, Plain]:
    """Return an object of the body."""
    value = event.body[name]
    if not isinstance(value, Mapping):
        raise TypeError(f"event {event.number}: {name} is not an object")
    return value
