"""Make a reply to the sender; close a notice with its outcome; open it again."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, ClassVar
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.actions.notice.standing import apart, the_notice, the_open_notice
from traceability.actions.once import Asked, Done, Site, answer_once, entered, ledger_of
from traceability.domain.events import Kind
from traceability.domain.known_rows import differences
from traceability.domain.moments import believed_moment
from traceability.domain.notices import NoticeEnd
from traceability.domain.people import Right
from traceability.errors import BadValue, NoScope, NoticeNotDone, StaleForm
from traceability.storage.notice_life import Notice
from traceability.storage.notice_lookup import (
    known_rows,
    last_given,
    looked_up_to,
    newest_answer,
    notice_state,
    open_tasks,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class MakeReply(Asked):
    """A number for each lot, for the sender."""

    kind: ClassVar[str] = "make-reply"
    right: ClassVar[Right | None] = Right.NOTICE_REPLIES
    notice_id: UUID
    asked_no: int
    cut_no: int
    lines: Sequence[Mapping[str, Any]]
    """One object a lot; see `reads.lot_account`."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CloseNotice(Asked):
    """All is done that has to be."""

    kind: ClassVar[str] = "close-notice"
    right: ClassVar[Right | None] = Right.NOTICE_REPLIES
    notice_id: UUID
    end: str
    words: str
    anyway: bool = False
    """Said again after its refusal: close it though something is left to do."""
    at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class ReopenNotice(Asked):
    """Something is to be done after all."""

    kind: ClassVar[str] = "reopen-notice"
    right: ClassVar[Right | None] = Right.NOTICE_REPLIES
    notice_id: UUID
    words: str
    at: datetime


def make_reply(asked: MakeReply, *, site: Site) -> Done:
    """Record the reply's numbers as they are sent.

    Raises:
        NoScope: nothing was asked yet. StaleForm: a newer answer is there. UnknownCode,
        NoticeClosed. Nothing was written.
    """
    return answer_once(asked, _reply, site)


def close_notice(asked: CloseNotice, *, site: Site) -> Done:
    """Close it.

    Raises:
        NoticeNotDone: tasks are open, a change waits, or no answer was given; the way on closes
        it all the same, with what is left as cautions. BadValue, UnknownCode, NoticeClosed.
        Nothing was written.
    """
    return answer_once(asked, _close, site)


def reopen_notice(asked: ReopenNotice, *, site: Site) -> Done:
    """Open it again, with all that it had.

    Raises:
        BadValue: it is open, or no reason is given. UnknownCode. Nothing was written.
    """
    return answer_once(asked, _reopen, site)


def _reply(asked: MakeReply, session: Session, site: Site) -> Done:
    notice = the_open_notice(session, site, asked.notice_id)
    ledger = ledger_of(asked, session, site)
    last = newest_answer(session, notice)
    if last is None:
        raise NoScope(number=notice.number)
    if last.recorded_no != asked.asked_no:
        raise StaleForm(number=last.recorded_no)
    body = {
        "notice": notice.id,
        "asked_no": asked.asked_no,
        "cut_no": asked.cut_no,
        "digest": last.digest,
        "lines": [dict(each) for each in asked.lines],
        "cautions": (),
    }
    return entered(ledger, Kind.NOTICE_REPLY_MADE, body, at=ledger.now, subject=notice.id)


def left_to_do(session: Session, notice: Notice) -> dict[str, int]:
    """Return what speaks against closing: how many tasks are open, what waits, what was not done.

    A notice that concerns nothing here needs no tasks, but it needs an answer: "none" is one.
    """
    last, seen_no = newest_answer(session, notice), looked_up_to(session, notice)
    waits = last is not None and 0 < seen_no < last.recorded_no
    return {
        "tasks": open_tasks(session, notice),
        "waiting": int(waits and _differs(session, notice, seen_no)),
        "unanswered": int(last_given(session, notice) is None),
    }


def _differs(session: Session, notice: Notice, since_no: int) -> bool:
    return bool(differences(known_rows(session, notice, since_no), known_rows(session, notice)))


def _close(asked: CloseNotice, session: Session, site: Site) -> Done:
    notice = the_open_notice(session, site, asked.notice_id)
    if asked.end not in set(NoticeEnd):
        raise BadValue(field="outcome", value=asked.end, why="not-one-of", of=[*NoticeEnd])
    if not asked.words.strip():
        raise BadValue(field="in words", value="", why="empty")
    ledger = ledger_of(asked, session, site)
    left = left_to_do(session, notice)
    if any(left.values()) and not asked.anyway:
        raise NoticeNotDone(number=notice.number, **left)
    at, noted = believed_moment(asked.at, now=ledger.now)
    body = {
        "notice": notice.id,
        "end": asked.end,
        "words": apart(session, asked.words, ledger.now),
        "device_at": asked.at,
        "cautions": (*noted, *(f"notice-{name}" for name, count in left.items() if count)),
    }
    return entered(ledger, Kind.NOTICE_CLOSED, body, at=at, subject=notice.id)


def _reopen(asked: ReopenNotice, session: Session, site: Site) -> Done:
    notice = the_notice(session, site, asked.notice_id)
    if not notice_state(session, notice).ended:
        raise BadValue(field="notice", value=notice.number, why="notice-open")
    if not asked.words.strip():
        raise BadValue(field="why", value="", why="empty")
    ledger = ledger_of(asked, session, site)
    at, noted = believed_moment(asked.at, now=ledger.now)
    body = {
        "notice": notice.id,
        "words": apart(session, asked.words, ledger.now),
        "device_at": asked.at,
        "cautions": noted,
    }
    return entered(ledger, Kind.NOTICE_REOPENED, body, at=at, subject=notice.id)
