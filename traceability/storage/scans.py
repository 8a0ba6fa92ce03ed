"""What was done at the trolley, act by act: for undo, for "keep it", and for the strip."""

from datetime import datetime
from uuid import UUID

from sqlalchemy import Index
from sqlalchemy.orm import Mapped, mapped_column

from traceability.storage.base import Base, same_site


class TrolleyAct(Base):
    """One act of one device on one prime, accepted or questioned."""

    __tablename__ = "trolley_act"
    __table_args__ = (
        same_site("circuit_id", "circuit"),
        Index(
            "ix_trolley_act_site_id_circuit_id", "site_id", "circuit_id", "device_id", "recorded_no"
        ),
    )
    site_id: Mapped[UUID] = mapped_column(primary_key=True)
    recorded_no: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    circuit_id: Mapped[UUID]
    device_id: Mapped[UUID]
    request_id: Mapped[UUID]
    at: Mapped[datetime]
    """By the device's clock, as believed."""
    verdict: Mapped[str]
    code: Mapped[str]
    facts: Mapped[str]
    """Canonical JSON of what the sentence says."""
    scan: Mapped[str]
    """Canonical JSON of what was scanned, so that the scan can be judged again; "null" if none."""
    undone_no: Mapped[int | None]
    """Number of the event that took it back."""


class PrintOrder(Base):
    """A circuit tag was ordered; copy 0 is the first print."""

    __tablename__ = "print_order"
    __table_args__ = (same_site("circuit_id", "circuit"),)
    site_id: Mapped[UUID] = mapped_column(primary_key=True)
    circuit_id: Mapped[UUID] = mapped_column(primary_key=True)
    copy: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    ordered_at: Mapped[datetime]
    recorded_no: Mapped[int]
