"""Kept counters and lists that recall answers read instead of counting the record.

They follow from the part rows alone and are changed in the transaction that changes a row. Counting
ten million rows as of a ledger number takes seconds; adding up blocks of numbers does not.
"""

from typing import Final
from uuid import UUID

from sqlalchemy import Index
from sqlalchemy.orm import Mapped, mapped_column

from traceability.storage.base import Base, same_site

BLOCK: Final = 1 << 13
"""Ledger numbers that share a counter: what one block holds can be counted at once."""

NO_PRODUCT: Final = UUID(int=0)
"""Stands for parts whose product is not known; no product has this key."""


class PartCount(Base):
    """How the rows believed of one kind and product grew while a block of numbers was written.

    The sum up to a block is what was believed at its end. Below zero: more stopped being believed.
    """

    __tablename__ = "part_count"
    site_id: Mapped[UUID] = mapped_column(primary_key=True)
    kind: Mapped[str] = mapped_column(primary_key=True)
    product_id: Mapped[UUID] = mapped_column(primary_key=True)
    """Or `NO_PRODUCT`."""
    block: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    """Ledger number divided by `BLOCK`."""
    parts: Mapped[int]
    """Rows that say that something is in; places that are said to be empty are none."""
    with_lot: Mapped[int]
    with_serial: Mapped[int]


class UnitSeen(Base):
    """A piece with a serial that the record names; asked through its product and text."""

    __tablename__ = "unit_seen"
    __table_args__ = (
        same_site("product_id", "product"),
        Index("ix_unit_seen_product_id", "product_id", "loose_key", "site_id"),
    )
    site_id: Mapped[UUID] = mapped_column(primary_key=True)
    unit_id: Mapped[UUID] = mapped_column(primary_key=True)
    product_id: Mapped[UUID]
    serial: Mapped[str]
    """As read."""
    loose_key: Mapped[str]
    """For finding texts that look alike; never for deciding that they are the same."""
