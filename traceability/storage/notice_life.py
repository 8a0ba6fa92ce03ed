"""Notices: the event, its letters with their files, its scope in versions, and where it stands.

Titles, senders, texts and names of files are kept apart, for they may name a person; the files
themselves lie in `var/` (see `attachments`).
"""

from datetime import date, datetime
from uuid import UUID

from sqlalchemy import Index, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from traceability.storage.base import IN_ORDER, Base, Entity, Link, one_open, same_site
from traceability.storage.triggers import never_changes


class Notice(Entity, Base):
    """One event that one or several senders wrote about."""

    __tablename__ = "notice"
    __table_args__ = (UniqueConstraint("site_id", "number"),)
    number: Mapped[str]
    """"N-0001"."""
    title_id: Mapped[UUID]
    """The text kept apart that says what it is about."""
    received_at: Mapped[datetime]
    received_by: Mapped[UUID | None]
    """Who received it; None: from the command line of the machine itself."""
    opened_no: Mapped[int]


class NoticeState(Link, Base):
    """Where a notice stood: open or closed, when a reply is due, when it was acted on."""

    __tablename__ = "notice_state"
    __table_args__ = (
        same_site("notice_id", "notice"),
        one_open("one_open_state_of_a_notice", "notice_id"),
        Index("ix_notice_state_site_id_notice_id", "site_id", "notice_id", *IN_ORDER),
        Index("ix_notice_state_site_id_ended", "site_id", "ended", "superseded_no", "valid_to"),
    )
    notice_id: Mapped[UUID]
    ended: Mapped[str]
    """How it was closed, a code of `domain.notices.NoticeEnd`; empty: it is open."""
    words_id: Mapped[UUID | None]
    """The text kept apart that goes with closing or reopening."""
    due_on: Mapped[date | None]
    due: Mapped[str]
    """Canonical JSON of `domain.notices.Due`: the day and the rule it came from."""
    acted_on: Mapped[date | None]


class NoticeLetter(Entity, Base):
    """One letter about the event."""

    __tablename__ = "notice_letter"
    __table_args__ = (
        same_site("notice_id", "notice"),
        Index("ix_notice_letter_site_id_notice_id", "site_id", "notice_id", "recorded_no"),
    )
    notice_id: Mapped[UUID]
    recorded_no: Mapped[int]
    sender_kind: Mapped[str]
    sender_id: Mapped[UUID | None]
    """The text kept apart that names the sender."""
    reference: Mapped[str]
    """The sender's own, as printed; empty where there is none."""
    stated_class: Mapped[str]
    """As the letter states it; never computed. Empty: none is stated."""
    dated_on: Mapped[date | None]
    received_at: Mapped[datetime]
    received_by: Mapped[UUID | None]
    text_id: Mapped[UUID | None]


class NoticeFile(Entity, Base):
    """A file that came with a letter. Erased, its row stays and says that there was one."""

    __tablename__ = "notice_file"
    __table_args__ = (
        same_site("letter_id", "notice_letter"),
        Index("ix_notice_file_site_id_letter_id", "site_id", "letter_id", "recorded_no"),
    )
    letter_id: Mapped[UUID]
    recorded_no: Mapped[int]
    line: Mapped[int]
    """Which of the letter's files, from 0."""
    name_id: Mapped[UUID]
    """The text kept apart that is the file's name."""
    media_type: Mapped[str]
    size_bytes: Mapped[int]
    sha256: Mapped[str]
    """64 hexadecimal digits over the bytes."""
    superseded_no: Mapped[int | None]
    """Number of the event that erased it; None: the file is there."""


class NoticeScope(Base):
    """One version of what a notice is about."""

    __tablename__ = "notice_scope"
    __table_args__ = (same_site("notice_id", "notice"),)
    site_id: Mapped[UUID] = mapped_column(primary_key=True)
    notice_id: Mapped[UUID] = mapped_column(primary_key=True)
    version: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    body: Mapped[str]
    """Canonical JSON as `domain.notice_scope.scope_json` writes it."""
    source_id: Mapped[UUID | None]
    """The text kept apart that says how it was entered."""
    at: Mapped[datetime]
    person_id: Mapped[UUID | None]
    recorded_no: Mapped[int]


class WorkDays(Base):
    """One version of the days on which the site works; the newest is in force."""

    __tablename__ = "work_days"
    site_id: Mapped[UUID] = mapped_column(primary_key=True)
    version: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    days_off: Mapped[str]
    """Canonical JSON list of weekdays without work, Monday = 0."""
    holidays: Mapped[str]
    """Canonical JSON list of days, YYYY-MM-DD."""
    set_at: Mapped[datetime]
    recorded_no: Mapped[int]


for _table in ("notice", "notice_letter", "notice_scope", "work_days"):
    never_changes(Base.metadata.tables[_table])
never_changes(Base.metadata.tables["notice_state"], but_once="superseded_no")
never_changes(Base.metadata.tables["notice_file"], but_once="superseded_no")
