"""What was answered to a notice's scope: each asking, the rows it left, what was given to whom.

Rows are links on the ledger's own time line: an asking supersedes what it no longer says and adds
what is new, so the rows of any earlier asking are those believed at its number.
"""

from uuid import UUID

from sqlalchemy import Index
from sqlalchemy.orm import Mapped, mapped_column

from traceability.storage.base import IN_ORDER, Base, Link, same_site
from traceability.storage.triggers import never_changes


class NoticeAnswer(Base):
    """The scope was asked: by a person, after an amendment, or because entries came in since."""

    __tablename__ = "notice_answer"
    __table_args__ = (
        same_site("notice_id", "notice"),
        Index("ix_notice_answer_site_id_notice_id", "site_id", "notice_id", "recorded_no"),
    )
    site_id: Mapped[UUID] = mapped_column(primary_key=True)
    recorded_no: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    notice_id: Mapped[UUID]
    scope_version: Mapped[int]
    cut_no: Mapped[int]
    """The last entry that the answer knows of."""
    digest: Mapped[str]
    """Of the whole answer; see `recall.answered.Answer.digest`."""
    counts: Mapped[str]
    """Canonical JSON: how many rows of which subject on which shelf."""
    coverage: Mapped[str]
    """Canonical JSON of `recall.answered.Coverage`, and of what the stock book cannot say."""
    changed: Mapped[int]
    """Rows that are not as the asking before had them."""


class NoticeAnswerRow(Link, Base):
    """One row of an answer, by ids; `valid_from` is when it was asked."""

    __tablename__ = "notice_answer_row"
    __table_args__ = (
        same_site("notice_id", "notice"),
        Index("ix_notice_answer_row_site_id_notice_id", "site_id", "notice_id", *IN_ORDER),
    )
    notice_id: Mapped[UUID]
    row_key: Mapped[str]
    body: Mapped[str]
    """Canonical JSON as `domain.known_rows.row_body` writes it."""


class NoticeAnswerGiven(Base):
    """An answer was given, as the asking `asked_no` had it."""

    __tablename__ = "notice_answer_given"
    __table_args__ = (
        same_site("notice_id", "notice"),
        Index("ix_notice_answer_given_site_id_notice_id", "site_id", "notice_id", "recorded_no"),
    )
    site_id: Mapped[UUID] = mapped_column(primary_key=True)
    recorded_no: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    notice_id: Mapped[UUID]
    asked_no: Mapped[int]
    to_id: Mapped[UUID | None]
    """The text kept apart that says to whom and how."""


class NoticeLook(Base):
    """A person looked at what changed, up to the asking `asked_no`."""

    __tablename__ = "notice_look"
    __table_args__ = (
        same_site("notice_id", "notice"),
        Index("ix_notice_look_site_id_notice_id", "site_id", "notice_id", "recorded_no"),
    )
    site_id: Mapped[UUID] = mapped_column(primary_key=True)
    recorded_no: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    notice_id: Mapped[UUID]
    asked_no: Mapped[int]


class NoticeReply(Base):
    """A reply to the sender was made: a number for each lot, cut at an entry."""

    __tablename__ = "notice_reply"
    __table_args__ = (
        same_site("notice_id", "notice"),
        Index("ix_notice_reply_site_id_notice_id", "site_id", "notice_id", "recorded_no"),
    )
    site_id: Mapped[UUID] = mapped_column(primary_key=True)
    recorded_no: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    notice_id: Mapped[UUID]
    asked_no: Mapped[int]
    cut_no: Mapped[int]
    lines: Mapped[str]
    """Canonical JSON, one object a lot."""


for _table in ("notice_answer", "notice_answer_given", "notice_look", "notice_reply"):
    never_changes(Base.metadata.tables[_table])
never_changes(Base.metadata.tables["notice_answer_row"], but_once="superseded_no")
