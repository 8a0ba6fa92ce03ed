"""Drills: what the service found of lots it picked, and how long people took to be told.

A drill is never a notice: nothing here holds anything, and no answer reads these tables.
"""

from datetime import date, datetime
from typing import Final
from uuid import UUID

from sqlalchemy import Index, text
from sqlalchemy.orm import Mapped, mapped_column

from traceability.storage.base import Base, Entity, same_site
from traceability.storage.triggers import never_changes

OF_THE_WEEK: Final = text("NOT by_hand")
"""The service's own drills: one a week, whatever a clock says."""

GOES_ON: Final = text("ended_at IS NULL")


class LotDrill(Base):
    """The service picked lots and followed them; `recorded_no` is the entry that says so."""

    __tablename__ = "lot_drill"
    __table_args__ = (
        Index(
            "one_drill_a_week",
            "site_id",
            "week",
            unique=True,
            sqlite_where=OF_THE_WEEK,
            postgresql_where=OF_THE_WEEK,
        ),
    )
    site_id: Mapped[UUID] = mapped_column(primary_key=True)
    recorded_no: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    at: Mapped[datetime]
    week: Mapped[date]
    """Monday of the local week."""
    by_hand: Mapped[bool]
    """Somebody asked for it; such a drill is no part of the trend."""
    seed: Mapped[str]
    since_no: Mapped[int]
    """Lots with rows of this entry or later were picked first."""
    cut_no: Mapped[int]
    """The last entry that the choice knew of: with the seed it can be repeated exactly."""
    wanted: Mapped[int]
    candidates: Mapped[int]
    """Lots with entries since `since_no`."""
    definition: Mapped[int]
    """Version of the rule, `domain.drills.reconcile.DEFINITION`."""


class LotDrilled(Base):
    """What a drill found of one lot, as known then."""

    __tablename__ = "lot_drilled"
    __table_args__ = (
        same_site("product_id", "product"),
        same_site("lot_id", "lot"),
    )
    site_id: Mapped[UUID] = mapped_column(primary_key=True)
    recorded_no: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    line: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    product_id: Mapped[UUID]
    lot_id: Mapped[UUID]
    whole: Mapped[bool]
    """From receipt to end; False: from use to end. A lot may have a line of each."""
    units: Mapped[int]
    reconciled: Mapped[int]
    whereabouts: Mapped[str]
    """Canonical JSON: units by class."""
    points: Mapped[str]
    """Canonical JSON: open points by code, in units."""


class PeopleDrill(Entity, Base):
    """A lot was given and a clock runs until everybody named has been told."""

    __tablename__ = "people_drill"
    __table_args__ = (
        same_site("product_id", "product"),
        same_site("lot_id", "lot"),
        Index("ix_people_drill_site_id_begun_no", "site_id", "begun_no"),
        Index(
            "one_open_people_drill",
            "site_id",
            unique=True,
            sqlite_where=GOES_ON,
            postgresql_where=GOES_ON,
        ),
    )
    product_id: Mapped[UUID]
    lot_id: Mapped[UUID]
    at_random: Mapped[bool]
    begun_at: Mapped[datetime]
    begun_no: Mapped[int]
    begun_by: Mapped[UUID | None]
    ended_at: Mapped[datetime | None]
    stopped: Mapped[str]
    """Code of why it was ended before everybody was told; empty: it was not."""


class DrillTarget(Base):
    """Somebody who has to be told in a drill: a person, or whoever has a role."""

    __tablename__ = "people_drill_target"
    __table_args__ = (same_site("drill_id", "people_drill"),)
    site_id: Mapped[UUID] = mapped_column(primary_key=True)
    drill_id: Mapped[UUID] = mapped_column(primary_key=True)
    line: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    person_id: Mapped[UUID | None]
    """None for a role."""
    role: Mapped[str]
    """Empty for a person."""
    told_at: Mapped[datetime | None]
    told_no: Mapped[int | None]
    entered_by: Mapped[UUID | None]
    """Who said so; the service rings nobody."""


class DrillStep(Base):
    """A step of a drill that is nobody's telling: the answer found, the stock seen."""

    __tablename__ = "people_drill_step"
    __table_args__ = (
        same_site("drill_id", "people_drill"),
        same_site("place_id", "place"),
        Index("ix_people_drill_step_site_id_drill_id", "site_id", "drill_id", "recorded_no"),
    )
    site_id: Mapped[UUID] = mapped_column(primary_key=True)
    recorded_no: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    drill_id: Mapped[UUID]
    step: Mapped[str]
    """Of `domain.drills.people.Step`."""
    at: Mapped[datetime]
    person_id: Mapped[UUID | None]
    place_id: Mapped[UUID | None]
    """The place whose symbol was scanned; None: a pack of the lot was, or nothing."""


for _table in ("lot_drill", "lot_drilled", "people_drill_step"):
    never_changes(Base.metadata.tables[_table])
