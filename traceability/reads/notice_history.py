"""Everything that was entered about a notice, newest first."""

from typing import Any, Final
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.reads.happenings import Happening, told
from traceability.storage.holds import Hold
from traceability.storage.notice_answers import (
    NoticeAnswer,
    NoticeAnswerGiven,
    NoticeLook,
    NoticeReply,
)
from traceability.storage.notice_life import (
    Notice,
    NoticeFile,
    NoticeLetter,
    NoticeScope,
    NoticeState,
)
from traceability.storage.notice_tasks import NoticeTask, NoticeTaskState

MOST: Final = 100
"""Entries that the page shows; the newest."""


def notice_happenings(session: Session, site_id: UUID, notice_id: UUID) -> list[Happening]:
    """Return the newest entries about a notice, holds that name it among them."""
    notice = session.get_one(Notice, (site_id, notice_id))
    numbers = {notice.opened_no}
    for table in (
        NoticeState,
        NoticeLetter,
        NoticeScope,
        NoticeAnswer,
        NoticeAnswerGiven,
        NoticeLook,
        NoticeReply,
    ):
        numbers |= _numbers(session, table, site_id, table.notice_id == notice_id)
    letters = select(NoticeLetter.id).filter_by(site_id=site_id, notice_id=notice_id)
    erased = select(NoticeFile.superseded_no).where(
        NoticeFile.site_id == site_id,
        NoticeFile.letter_id.in_(letters),
        NoticeFile.superseded_no.is_not(None),
    )
    numbers |= {number for number in session.scalars(erased) if number}
    mine = select(NoticeTask.id).filter_by(site_id=site_id, notice_id=notice_id)
    numbers |= _numbers(session, NoticeTaskState, site_id, NoticeTaskState.task_id.in_(mine))
    numbers |= _numbers(session, Hold, site_id, Hold.notice == notice.number)
    return told(session, site_id, set(sorted(numbers)[-MOST:]))


def _numbers(session: Session, table: Any, site_id: UUID, where: Any) -> set[int]:  # noqa: ANN401
    rows = select(table.recorded_no).where(table.site_id == site_id, where).distinct()
    return set(session.scalars(rows))
