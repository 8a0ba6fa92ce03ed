"""What acts on notices have in common: which notice is meant, and whether it is open."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Final
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.actions.once import Site
from traceability.domain.deadlines import WorkCalendar
from traceability.domain.notices import Due, due_by, rule_of
from traceability.errors import BadValue, NoticeClosed, UnknownCode
from traceability.storage.kept_apart import keep_apart
from traceability.storage.notice_life import Notice
from traceability.storage.notice_lookup import notice_state

LONGEST_TEXT: Final = 100_000
"""Letters of a letter's text; longer ones are attached as files. Own choice."""
LONGEST_LINE: Final = 400
"""Letters of a title, a sender, a reference, a class. Own choice."""


def the_notice(session: Session, site: Site, notice_id: UUID) -> Notice:
    """Return the notice.

    Raises:
        UnknownCode: there is none. Nothing was written.
    """
    notice = session.get(Notice, (site.id, notice_id))
    if notice is None:
        raise UnknownCode(what="notice", value=str(notice_id))
    return notice


def the_open_notice(session: Session, site: Site, notice_id: UUID) -> Notice:
    """Return the notice, which is open.

    Raises:
        UnknownCode, NoticeClosed: nothing was written.
    """
    notice = the_notice(session, site, notice_id)
    if notice_state(session, notice).ended:
        raise NoticeClosed(number=notice.number)
    return notice


def line(text: str, field: str, *, needed: bool = False) -> str:
    """Return a text of one line, trimmed.

    Raises:
        BadValue: it is needed and empty, or too long.
    """
    trimmed = " ".join(text.split())
    if needed and not trimmed:
        raise BadValue(field=field, value="", why="empty")
    if len(trimmed) > LONGEST_LINE:
        raise BadValue(field=field, value=trimmed[:40], why="too-long")
    return trimmed


def apart(session: Session, text: str, at: datetime) -> list[dict[str, str]]:
    """Keep a text apart and return what stands for it in a body; nothing for no text.

    Raises:
        BadValue: it is too long.
    """
    if len(text) > LONGEST_TEXT:
        raise BadValue(field="text", value=text[:40], why="too-long")
    return [keep_apart(session, text.strip(), at=at)] if text.strip() else []


@dataclass(frozen=True, slots=True, kw_only=True)
class DueGiven:
    """Until when a reply is asked for, as a person chose it."""

    rule: str = "none"
    """"none", "stated", "own", or the code of a published rule."""
    days: int = 0
    unit: str = ""
    """Of a rule of the site's own; see `domain.deadlines.Unit`."""
    stated_on: date | None = None
    """The day that the letter states, with `rule` "stated"."""


def what_is_due(given: DueGiven, aware: date, calendar: WorkCalendar) -> Due:
    """Return what is due for a site that became aware on `aware`.

    Raises:
        BadValue: no such rule, no day stated, or days that cannot be.
    """
    if given.rule == "none":
        return Due(on=None)
    if given.rule == "stated":
        if given.stated_on is None:
            raise BadValue(field="reply due on", value="", why="empty")
        return Due(on=given.stated_on, stated=True)
    try:
        rule = rule_of(given.rule, days=given.days, unit=given.unit)
        return due_by(rule, aware, calendar)
    except ValueError:
        raise BadValue(field="reply due", value=f"{given.days}", why="no-rule") from None
