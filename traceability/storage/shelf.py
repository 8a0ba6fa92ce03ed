"""What people do at the shelf: looking at a circuit, telling somebody by hand, how it stands."""

from uuid import UUID

from sqlalchemy import Index
from sqlalchemy.orm import Mapped

from traceability.storage.base import IN_ORDER, Base, Link, one_open, same_site
from traceability.storage.triggers import never_changes


class ShelfCheck(Link, Base):
    """Somebody looked at a circuit on the shelf; `valid_from` is when."""

    __tablename__ = "shelf_check"
    __table_args__ = (
        same_site("circuit_id", "circuit"),
        Index("ix_shelf_check_site_id_circuit_id", "site_id", "circuit_id", *IN_ORDER),
    )
    circuit_id: Mapped[UUID]
    good: Mapped[bool]
    findings: Mapped[str]
    """Canonical JSON list of codes of what was not right; empty for a good look."""


class ToldByHand(Link, Base):
    """Somebody was told of a place or a circuit; `valid_from` is when. The service rings nobody."""

    __tablename__ = "told_by_hand"
    __table_args__ = (
        same_site("circuit_id", "circuit"),
        same_site("place_id", "place"),
        Index("ix_told_by_hand_site_id_place_id", "site_id", "place_id", *IN_ORDER),
        Index("ix_told_by_hand_site_id_circuit_id", "site_id", "circuit_id", *IN_ORDER),
    )
    place_id: Mapped[UUID | None]
    circuit_id: Mapped[UUID | None]
    reason: Mapped[str]
    """Code of what was told."""
    kept_id: Mapped[UUID]
    """The text kept apart: who was told."""


class CircuitWay(Link, Base):
    """How a primed circuit stood ready: dry, wet and closed, or wet and opened."""

    __tablename__ = "circuit_way"
    __table_args__ = (
        same_site("circuit_id", "circuit"),
        one_open("one_open_way", "circuit_id"),
        Index("ix_circuit_way_site_id_circuit_id", "site_id", "circuit_id", *IN_ORDER),
    )
    circuit_id: Mapped[UUID]
    way: Mapped[str]
    """See `domain.use_by.Way`."""


for _table in ("shelf_check", "told_by_hand", "circuit_way"):
    never_changes(Base.metadata.tables[_table], but_once="superseded_no")
