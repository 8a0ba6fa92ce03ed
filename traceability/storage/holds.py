"""Holds on circuits, lots and products; and rulings a person has given."""

from uuid import UUID

from sqlalchemy import Index
from sqlalchemy.orm import Mapped

from traceability.storage.base import Base, Link
from traceability.storage.triggers import never_changes


class Hold(Link, Base):
    """Something is not to be used until a named person releases it."""

    __tablename__ = "hold"
    __table_args__ = (
        Index("ix_hold_site_id_subject_id", "site_id", "subject_id", "superseded_no", "valid_to"),
    )
    subject: Mapped[str]
    """"circuit", "lot" or "product"."""
    subject_id: Mapped[UUID]
    reason: Mapped[str]
    """Code of the reason."""
    notice: Mapped[str]
    """Number of the notice that names it, as entered; empty where there is none."""


never_changes(Base.metadata.tables["hold"], but_once="superseded_no")
