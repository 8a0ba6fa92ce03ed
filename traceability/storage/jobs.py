"""Work for the worker: rows with a lease, so that a dead worker's job is taken up again."""

from datetime import datetime
from uuid import UUID

from sqlalchemy import Index
from sqlalchemy.orm import Mapped, mapped_column

from traceability.storage.base import Base


class Job(Base):
    """One piece of work outside any request: a signed head, a print."""

    __tablename__ = "job"
    __table_args__ = (Index("ix_job_done_at", "done_at", "not_before"),)
    id: Mapped[UUID] = mapped_column(primary_key=True)
    kind: Mapped[str]
    body: Mapped[str]
    not_before: Mapped[datetime]
    leased_until: Mapped[datetime | None]
    attempts: Mapped[int] = mapped_column(default=0)
    done_at: Mapped[datetime | None]
    problem: Mapped[str] = mapped_column(default="")
    """What went wrong the last time; empty if nothing did."""
