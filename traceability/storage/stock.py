"""The stock book: what came in, what changed it, and what each place holds of each lot now."""

from datetime import date, datetime
from typing import Final
from uuid import UUID, uuid5

from sqlalchemy import Index, text
from sqlalchemy.orm import Mapped, mapped_column

from traceability.storage.base import IN_ORDER, Base, Entity, Link, same_site
from traceability.storage.triggers import never_changes

SOME: Final = text("quantity <> 0")
"""What is on a shelf, or owed to one: old lots that are used up do not enter."""

USED: Final = "used"
"""Why of a change: a piece went into a circuit, or fell on the way."""
GIVEN_BACK: Final = "given-back"
"""Why of a change: the scan that used a piece was taken back."""


class StockBook(Base):
    """A product whose pieces are in the book: from its first receipt or count on.

    Before that its number would be what was used and never booked in: no number at all.
    """

    __tablename__ = "stock_book"
    __table_args__ = (same_site("product_id", "product"),)
    site_id: Mapped[UUID] = mapped_column(primary_key=True)
    product_id: Mapped[UUID] = mapped_column(primary_key=True)
    begun_at: Mapped[datetime]
    begun_no: Mapped[int]
    counted_at: Mapped[datetime | None]
    """When any of its lots was counted last."""


class StockLevel(Entity, Base):
    """What the book has of one lot in one place. A running number: reading adds nothing up."""

    __tablename__ = "stock_level"
    __table_args__ = (
        same_site("product_id", "product"),
        same_site("lot_id", "lot"),
        same_site("place_id", "place"),
        Index(
            "ix_stock_level_some", "site_id", "product_id", sqlite_where=SOME, postgresql_where=SOME
        ),
        # Not the site first: SQLite would take it for the question what is on all shelves, and
        # read every lot there ever was.
        Index("ix_stock_level_lot", "lot_id", "product_id"),
    )
    product_id: Mapped[UUID]
    lot_id: Mapped[UUID | None]
    """None: the pieces carry no lot."""
    place_id: Mapped[UUID | None]
    """None: no place was said."""
    quantity: Mapped[int]
    """Units of use; below zero where more was used than was booked in."""
    counted_at: Mapped[datetime | None]
    counted_no: Mapped[int | None]
    """Number of the event of the last count."""


def level_key(product_id: UUID, lot_id: UUID | None, place_id: UUID | None) -> UUID:
    """Return the id of a lot's level in a place."""
    return uuid5(product_id, f"level {lot_id} {place_id}")


class StockReceipt(Link, Base):
    """Pieces of a lot came in; `valid_from` is when."""

    __tablename__ = "stock_receipt"
    __table_args__ = (
        same_site("product_id", "product"),
        same_site("lot_id", "lot"),
        same_site("place_id", "place"),
        Index("ix_stock_receipt_site_id_product_id", "site_id", "product_id", "lot_id", *IN_ORDER),
        Index("ix_stock_receipt_site_id_unit_id", "site_id", "unit_id"),
    )
    product_id: Mapped[UUID]
    lot_id: Mapped[UUID | None]
    quantity: Mapped[int]
    expiry: Mapped[date | None]
    """As read from these pieces: last day of use."""
    place_id: Mapped[UUID | None]
    box: Mapped[str | None]
    """Code of the outer box."""
    made: Mapped[date | None]
    shipped: Mapped[date | None]
    supplier_id: Mapped[UUID | None]
    """The text kept apart that says who sent it."""
    known: Mapped[str]
    unit_id: Mapped[UUID | None]
    """Product and serial as one key, for a piece with a serial."""
    device_id: Mapped[UUID]


class StockChange(Base):
    """One change of one level, so that the book can be read backwards."""

    __tablename__ = "stock_change"
    __table_args__ = (
        same_site("product_id", "product"),
        same_site("lot_id", "lot"),
        same_site("place_id", "place"),
        Index("ix_stock_change_site_id_product_id", "site_id", "product_id", *IN_ORDER),
        Index("ix_stock_change_site_id_part_id", "site_id", "part_id", *IN_ORDER),
        # A lot id is one product's of one site: nothing but the lot's own rows is read.
        Index("ix_stock_change_lot", "lot_id", "why"),
    )
    site_id: Mapped[UUID] = mapped_column(primary_key=True)
    recorded_no: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    line: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    at: Mapped[datetime]
    product_id: Mapped[UUID]
    lot_id: Mapped[UUID | None]
    place_id: Mapped[UUID | None]
    quantity: Mapped[int]
    """What was added; below zero: taken."""
    why: Mapped[str]
    """The event's kind, or "used", "given-back"."""
    reason: Mapped[str]
    """Code of the reason where there is one; else empty."""
    part_id: Mapped[UUID | None]
    """The piece of a circuit that was used or given back; None: an act at the shelves."""


never_changes(Base.metadata.tables["stock_receipt"], but_once="superseded_no")
never_changes(Base.metadata.tables["stock_change"])
