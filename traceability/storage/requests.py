"""What a device asked for once, so that the same request again gets the same answer."""

from uuid import UUID

from sqlalchemy.orm import Mapped, mapped_column

from traceability.storage.base import Base


class Request(Base):
    """One act as asked for, and its answer."""

    __tablename__ = "request"
    site_id: Mapped[UUID] = mapped_column(primary_key=True)
    device_id: Mapped[UUID] = mapped_column(primary_key=True)
    request_id: Mapped[UUID] = mapped_column(primary_key=True)
    actor_id: Mapped[UUID | None]
    kind: Mapped[str]
    digest: Mapped[str]
    """Keyed digest of what was asked, for the text itself may have to be erased."""
    first_no: Mapped[int] = mapped_column(default=0)
    last_no: Mapped[int] = mapped_column(default=0)
    answer: Mapped[str] = mapped_column(default="")
    """Canonical JSON; with the two numbers, filled in by the transaction that adds the row."""
