"""Say what a notice is about, or amend it; and until when a reply is due, when it was acted on."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, ClassVar
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.actions.notice.standing import DueGiven, apart, the_open_notice, what_is_due
from traceability.actions.once import Asked, Done, Site, answer_once, entered, ledger_of
from traceability.domain.events import Kind
from traceability.domain.moments import believed_moment
from traceability.domain.notice_scope import BadScope, read_scope, scope_json
from traceability.domain.notices import due_body
from traceability.domain.people import Right
from traceability.errors import BadValue, StaleForm
from traceability.storage.notice_lookup import newest_scope, work_calendar


@dataclass(frozen=True, slots=True, kw_only=True)
class SetScope(Asked):
    """The next version of a notice's scope."""

    kind: ClassVar[str] = "set-notice-scope"
    right: ClassVar[Right | None] = Right.NOTICES
    notice_id: UUID
    scope: Mapping[str, Any]
    """JSON as `domain.notice_scope` reads it."""
    read_version: int
    """The version from which it was made; 0 where there was none."""
    source: str
    """How it was entered, in words."""
    at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class SetDue(Asked):
    """A reply is due until another day, or none is asked for."""

    kind: ClassVar[str] = "set-notice-due"
    right: ClassVar[Right | None] = Right.NOTICES
    notice_id: UUID
    due: DueGiven
    aware_on: date | None = None
    """The day one became aware; None: the day the notice was received."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SetActedOn(Asked):
    """The notice was acted on."""

    kind: ClassVar[str] = "set-notice-acted-on"
    right: ClassVar[Right | None] = Right.NOTICES
    notice_id: UUID
    acted_on: date


def set_scope(asked: SetScope, *, site: Site) -> Done:
    """Record the version; `facts` hold its number.

    Raises:
        BadValue: it is no scope. StaleForm: somebody amended it meanwhile. UnknownCode,
        NoticeClosed. Nothing was written.
    """
    return answer_once(asked, _set_scope, site)


def set_due(asked: SetDue, *, site: Site) -> Done:
    """Record until when a reply is due, with the rule.

    Raises:
        BadValue, UnknownCode, NoticeClosed: nothing was written.
    """
    return answer_once(asked, _set_due, site)


def set_acted_on(asked: SetActedOn, *, site: Site) -> Done:
    """Record the day.

    Raises:
        BadValue: a day still to come. UnknownCode, NoticeClosed. Nothing was written.
    """
    return answer_once(asked, _set_acted_on, site)


def _set_scope(asked: SetScope, session: Session, site: Site) -> Done:
    notice = the_open_notice(session, site, asked.notice_id)
    try:
        scope = read_scope(asked.scope)
    except BadScope as error:
        raise BadValue(field="scope", value="", why="said", said=str(error)) from None
    ledger = ledger_of(asked, session, site)
    newest = newest_scope(session, notice)
    version = newest.version if newest else 0
    if version != asked.read_version:
        raise StaleForm(number=version)
    at, noted = believed_moment(asked.at, now=ledger.now)
    body = {
        "notice": notice.id,
        "version": version + 1,
        "scope": scope_json(scope),
        "source": apart(session, asked.source, ledger.now),
        "device_at": asked.at,
        "cautions": noted,
    }
    return entered(
        ledger,
        Kind.NOTICE_SCOPE_SET,
        body,
        at=at,
        subject=notice.id,
        facts={"number": notice.number, "version": version + 1},
    )


def _set_due(asked: SetDue, session: Session, site: Site) -> Done:
    notice = the_open_notice(session, site, asked.notice_id)
    _, calendar = work_calendar(session, site.id)
    aware = asked.aware_on or notice.received_at.astimezone(site.zone).date()
    due = what_is_due(asked.due, aware, calendar)
    ledger = ledger_of(asked, session, site)
    body = {"notice": notice.id, "due": due_body(due), "cautions": ()}
    return entered(ledger, Kind.NOTICE_DUE_SET, body, at=ledger.now, subject=notice.id)


def _set_acted_on(asked: SetActedOn, session: Session, site: Site) -> Done:
    notice = the_open_notice(session, site, asked.notice_id)
    ledger = ledger_of(asked, session, site)
    if asked.acted_on > ledger.now.astimezone(site.zone).date():
        raise BadValue(field="acted on", value=asked.acted_on.isoformat(), why="to-come")
    body = {"notice": notice.id, "on": asked.acted_on.isoformat(), "cautions": ()}
    return entered(ledger, Kind.NOTICE_ACTED_ON, body, at=ledger.now, subject=notice.id)
