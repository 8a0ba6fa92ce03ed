"""Products, their packaging levels, and lots."""

from datetime import date
from uuid import UUID

from sqlalchemy import Index
from sqlalchemy.orm import Mapped, mapped_column

from traceability.storage.base import Base, Entity, same_site


class Product(Entity, Base):
    """Something with a maker and an item number; parts, bags and packs are pieces of one."""

    __tablename__ = "product"
    __table_args__ = (Index("ix_product_site_id_kind", "site_id", "kind"),)
    standard: Mapped[str]
    """gs1, hibc, isbt128, ifa or none."""
    identifier: Mapped[str]
    """The issuing agency's key of the piece itself, as the identifier engine gives it."""
    name: Mapped[str]
    maker: Mapped[str]
    item_number: Mapped[str]
    kind: Mapped[str]
    """The kind of part; slots of build sheets carry the same word."""
    substance: Mapped[str]
    """For fluids: substance and strength in full; else empty."""
    volume_ml: Mapped[int | None]
    circuit_type: Mapped[str]
    """For circuit packs: the circuit type it builds; else empty."""
    counted: Mapped[bool]
    """False for ward stock, which is not counted here."""


class ProductKind(Base):
    """What kind a product was said to be, from an entry on: the word may be mended.

    A part that nobody could read went in under the kind of its day, so that recalls ask for all of
    them.
    """

    __tablename__ = "product_kind"
    __table_args__ = (same_site("product_id", "product"),)
    site_id: Mapped[UUID] = mapped_column(primary_key=True)
    product_id: Mapped[UUID] = mapped_column(primary_key=True)
    recorded_no: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    kind: Mapped[str]


class Packaging(Base):
    """A packaging level's own identifier and how many pieces it holds; the piece itself holds 1."""

    __tablename__ = "packaging"
    __table_args__ = (same_site("product_id", "product"),)
    site_id: Mapped[UUID] = mapped_column(primary_key=True)
    standard: Mapped[str] = mapped_column(primary_key=True)
    identifier: Mapped[str] = mapped_column(primary_key=True)
    product_id: Mapped[UUID]
    units: Mapped[int]


class Lot(Entity, Base):
    """A batch. Its text means nothing without the product it belongs to."""

    __tablename__ = "lot"
    __table_args__ = (
        same_site("product_id", "product"),
        Index("ix_lot_site_id_product_id_text", "site_id", "product_id", "text"),
        Index("ix_lot_site_id_loose_key", "site_id", "loose_key"),
        Index("ix_lot_site_id_text", "site_id", "text"),
    )
    product_id: Mapped[UUID]
    text: Mapped[str]
    """As read: leading zeros, case and signs are kept."""
    loose_key: Mapped[str]
    """For suggesting look-alikes; never for deciding that two lots are the same."""
    expiry: Mapped[date | None]
    first_no: Mapped[int]
    """Number of the event that first named it."""
