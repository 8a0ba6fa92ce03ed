"""What makers state about their packs, and what people here ruled about lot texts.

Both are words about texts, not about lots of ours: a notice names lots that never came here, and a
ruling compares a captured text with one on a notice.
"""

from uuid import UUID

from sqlalchemy import Index
from sqlalchemy.orm import Mapped, mapped_column

from traceability.storage.base import IN_ORDER, Base, Link, same_site
from traceability.storage.triggers import never_changes


class CartonNotice(Link, Base):
    """A maker's statement of which lot of an inner part is in which packs.

    Notices add up. One is taken back by a correction, never by another notice.
    """

    __tablename__ = "carton_notice"
    __table_args__ = (
        same_site("product_id", "product"),
        same_site("inner_product_id", "product"),
        Index("ix_carton_notice_site_id_product_id", "site_id", "product_id", *IN_ORDER),
        Index(
            "ix_carton_notice_site_id_inner_product_id", "site_id", "inner_product_id", *IN_ORDER
        ),
    )
    product_id: Mapped[UUID]
    """The pack."""
    inner_product_id: Mapped[UUID]
    inner_lot_text: Mapped[str]
    sole: Mapped[bool]
    """Nothing else of that product is inside these packs."""
    complete: Mapped[bool]
    """No other packs hold this inner lot."""


class CartonNoticeLot(Base):
    """One pack lot that a notice names; `recorded_no` is the notice's."""

    __tablename__ = "carton_notice_lot"
    __table_args__ = (
        Index("ix_carton_notice_lot_site_id_loose_key", "site_id", "loose_key", "recorded_no"),
    )
    site_id: Mapped[UUID] = mapped_column(primary_key=True)
    recorded_no: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    line: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    text: Mapped[str]
    """As the notice prints it."""
    loose_key: Mapped[str]
    """For finding texts that look alike; never for deciding that they are the same."""


class LotRuling(Link, Base):
    """A named person's decision that two alike texts of one product mean one lot, or two.

    The newest on a pair counts, in either direction; older ones stay readable.
    """

    __tablename__ = "lot_ruling"
    __table_args__ = (
        same_site("product_id", "product"),
        Index("ix_lot_ruling_site_id_product_id", "site_id", "product_id", *IN_ORDER),
    )
    product_id: Mapped[UUID]
    captured: Mapped[str]
    notice: Mapped[str]
    same: Mapped[bool]
    person_id: Mapped[UUID | None]
    """Who ruled; None: from the command line of the machine itself."""
    kept_id: Mapped[UUID | None]
    """What it rests on, as entered, kept apart."""


never_changes(Base.metadata.tables["carton_notice"], but_once="superseded_no")
never_changes(Base.metadata.tables["carton_notice_lot"])
never_changes(Base.metadata.tables["lot_ruling"], but_once="superseded_no")
