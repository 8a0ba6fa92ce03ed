"""Numbers that were given out on paper, before a circuit has them."""

from uuid import UUID

from sqlalchemy.orm import Mapped, Session, mapped_column

from traceability.storage.base import Base
from traceability.storage.triggers import never_changes


class DownTimeNumber(Base):
    """A circuit number on a printed sheet and tag; no other circuit gets it."""

    __tablename__ = "down_time_number"
    site_id: Mapped[UUID] = mapped_column(primary_key=True)
    number: Mapped[str] = mapped_column(primary_key=True)
    printed_no: Mapped[int]
    """Number of the event that gave it out."""


never_changes(Base.metadata.tables["down_time_number"])


def is_on_paper(session: Session, site_id: UUID, number: str) -> bool:
    """Tell whether a sheet of that number was printed here."""
    return session.get(DownTimeNumber, (site_id, number)) is not None
