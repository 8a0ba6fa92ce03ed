"""What was asked, answered, looked at and replied."""

from typing import Final

from sqlalchemy import update
from sqlalchemy.orm import Session

from traceability.domain.events import Kind, Recorded
from traceability.storage.notice_answers import (
    NoticeAnswer,
    NoticeAnswerGiven,
    NoticeAnswerRow,
    NoticeLook,
    NoticeReply,
)
from traceability.storage.projections.notice_life import kept_id, object_of
from traceability.storage.projections.notice_tasks import add_tasks, say_in_answer
from traceability.storage.projections.registry import projects
from traceability.storage.projections.rows import add_links, stored

AT_ONCE: Final = 500
"""Keys in one statement; both databases take more."""


@projects(Kind.NOTICE_ASKED)
def notice_asked(session: Session, event: Recorded) -> None:
    """Keep the answer's numbers, put new rows in the place of old ones, add tasks."""
    notice_id = event.key("notice")
    session.add(
        NoticeAnswer(
            site_id=event.site_id,
            recorded_no=event.number,
            notice_id=notice_id,
            scope_version=event.number_of("version"),
            cut_no=event.number_of("cut_no"),
            digest=event.text("digest"),
            counts=stored(object_of(event, "counts")),
            coverage=stored(object_of(event, "coverage")),
            changed=len(event.rows("rows")) + len(event.texts("gone")),
        )
    )
    old = sorted({*event.texts("gone"), *(str(row["key"]) for row in event.rows("rows"))})
    for start in range(0, len(old), AT_ONCE):
        session.execute(
            update(NoticeAnswerRow)
            .where(
                NoticeAnswerRow.site_id == event.site_id,
                NoticeAnswerRow.notice_id == notice_id,
                NoticeAnswerRow.superseded_no.is_(None),
                NoticeAnswerRow.row_key.in_(old[start : start + AT_ONCE]),
            )
            .values(superseded_no=event.number),
            execution_options={"synchronize_session": False},
        )
    add_links(
        session,
        NoticeAnswerRow,
        event,
        [
            {"notice_id": notice_id, "row_key": str(row["key"]), "body": stored(row)}
            for row in event.rows("rows")
        ],
    )
    add_tasks(session, event, [event.inner(row) for row in event.rows("tasks")], notice_id)
    say_in_answer(session, event, event.texts("left"), event.texts("back"))


@projects(Kind.ANSWER_GIVEN)
def answer_given(session: Session, event: Recorded) -> None:
    """Keep which asking was given."""
    session.add(
        NoticeAnswerGiven(
            site_id=event.site_id,
            recorded_no=event.number,
            notice_id=event.key("notice"),
            asked_no=event.number_of("asked_no"),
            to_id=kept_id(event, "to"),
        )
    )


@projects(Kind.NOTICE_LOOKED_AT)
def notice_looked_at(session: Session, event: Recorded) -> None:
    """Keep up to which asking somebody looked."""
    session.add(
        NoticeLook(
            site_id=event.site_id,
            recorded_no=event.number,
            notice_id=event.key("notice"),
            asked_no=event.number_of("asked_no"),
        )
    )


@projects(Kind.NOTICE_REPLY_MADE)
def notice_reply_made(session: Session, event: Recorded) -> None:
    """Keep the reply's numbers as they were sent."""
    session.add(
        NoticeReply(
            site_id=event.site_id,
            recorded_no=event.number,
            notice_id=event.key("notice"),
            asked_no=event.number_of("asked_no"),
            cut_no=event.number_of("cut_no"),
            lines=stored(event.rows("lines")),
        )
    )
