"""Tasks of a notice, and how far each is."""

from datetime import date
from uuid import UUID

from sqlalchemy import Index
from sqlalchemy.orm import Mapped

from traceability.storage.base import IN_ORDER, Base, Entity, Link, one_open, same_site
from traceability.storage.triggers import never_changes


class NoticeTask(Entity, Base):
    """Something to be done about one row of the notice's answer."""

    __tablename__ = "notice_task"
    __table_args__ = (
        same_site("notice_id", "notice"),
        Index("ix_notice_task_site_id_notice_id", "site_id", "notice_id", "recorded_no"),
        Index("ix_notice_task_site_id_row_key", "site_id", "row_key"),
    )
    notice_id: Mapped[UUID]
    row_key: Mapped[str]
    """What it is about; see `domain.known_rows.Key`."""
    kind: Mapped[str]
    """As proposed or added; the state says what is done in the end."""
    recorded_no: Mapped[int]


class NoticeTaskState(Link, Base):
    """How far a task was."""

    __tablename__ = "notice_task_state"
    __table_args__ = (
        same_site("task_id", "notice_task"),
        one_open("one_open_state_of_a_task", "task_id"),
        Index("ix_notice_task_state_site_id_task_id", "site_id", "task_id", *IN_ORDER),
        Index("ix_notice_task_state_site_id_state", "site_id", "state", "superseded_no"),
    )
    task_id: Mapped[UUID]
    state: Mapped[str]
    """A code of `domain.notice_tasks.TaskState`."""
    kind: Mapped[str]
    assignee_id: Mapped[UUID | None]
    due_on: Mapped[date | None]
    ending: Mapped[str]
    """A code of `domain.notice_tasks.Ending`; empty: not ended."""
    witness_id: Mapped[UUID | None]
    words_id: Mapped[UUID | None]
    by_id: Mapped[UUID | None]
    """Who said so last; None: the service, from the answer."""
    in_answer: Mapped[bool]
    """False: its row is no longer in the answer. A person closes it."""


never_changes(Base.metadata.tables["notice_task"])
never_changes(Base.metadata.tables["notice_task_state"], but_once="superseded_no")
