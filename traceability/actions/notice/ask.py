"""Keep what a notice's scope answers, and what is to be done about new rows; give answers.

The answer is computed and compared with the last one before (`reads.notice_delta`): thousands of
rows are read while nobody waits, and only the difference is written while others do.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, ClassVar
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.actions.notice.standing import apart, the_open_notice
from traceability.actions.once import Asked, Done, Site, answer_once, entered, ledger_of
from traceability.domain.events import Kind
from traceability.domain.notice_tasks import TaskKind, task_key
from traceability.domain.people import Right
from traceability.errors import NoScope, StaleForm
from traceability.storage.notice_lookup import newest_answer, newest_scope


@dataclass(frozen=True, slots=True, kw_only=True)
class AskNotice(Asked):
    """What the scope's newest answer says otherwise than the one before."""

    kind: ClassVar[str] = "ask-notice"
    right: ClassVar[Right | None] = Right.NOTICES
    notice_id: UUID
    version: int
    """Of the scope that was asked."""
    base_no: int
    """The asking with which it was compared; 0: there was none."""
    cut_no: int
    digest: str
    counts: Mapping[str, int]
    coverage: Mapping[str, Any]
    rows: Sequence[Mapping[str, Any]]
    """New and changed rows as `domain.known_rows.row_body` writes them."""
    gone: Sequence[str]
    tasks: Sequence[tuple[str, str]]
    """Row and kind of each task that is to be added."""
    left: Sequence[UUID]
    """Tasks whose rows are no longer in the answer."""
    back: Sequence[UUID]


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
    """Record what changed since the last asking.

    Raises:
        NoScope: nothing is asked. StaleForm: the scope was amended, or somebody else asked
        meanwhile: compare again. UnknownCode, NoticeClosed. Nothing was written.
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
    if (last.recorded_no if last else 0) != asked.base_no:
        raise StaleForm(number=last.recorded_no if last else 0)
    kinds = [(key, TaskKind(kind)) for key, kind in asked.tasks]
    body = {
        "notice": notice.id,
        "version": asked.version,
        "cut_no": asked.cut_no,
        "digest": asked.digest,
        "counts": asked.counts,
        "coverage": asked.coverage,
        "rows": asked.rows,
        "gone": asked.gone,
        "tasks": [
            {"task": task_key(notice.id, key, kind), "key": key, "kind": kind}
            for key, kind in kinds
        ],
        "left": asked.left,
        "back": asked.back,
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
            "changed": len(asked.rows) + len(asked.gone),
            "tasks": len(asked.tasks),
        },
    )


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
