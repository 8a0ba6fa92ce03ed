"""Equipment: the register, what each machine served, and where it stood.

A machine's facts change (software, service): each state is a link, so that the machine of a past
day is known as it was. Its use is a link to a run or a circuit; that none was used is one as well.
"""

from datetime import date
from typing import Final
from uuid import UUID

from sqlalchemy import Index, text
from sqlalchemy.orm import Mapped

from traceability.storage.base import IN_ORDER, Base, Entity, Link, one_open, same_site
from traceability.storage.triggers import never_changes

NOT_READ: Final = text("serial IS NULL AND NOT none_used")
"""Some machine served, and nobody recorded which."""


class Equipment(Entity, Base):
    """A machine of the register; all that is known of it stands in its states."""

    __tablename__ = "equipment"
    first_no: Mapped[int]
    """Number of the event that first named it."""


class EquipmentState(Link, Base):
    """What was known of a machine for some time."""

    __tablename__ = "equipment_state"
    __table_args__ = (
        same_site("equipment_id", "equipment"),
        one_open("one_open_state_of_equipment", "equipment_id"),
        one_open("one_open_asset_number", "asset_number", also="asset_number <> ''"),
        Index("ix_equipment_state_site_id_equipment_id", "site_id", "equipment_id", *IN_ORDER),
    )
    equipment_id: Mapped[UUID]
    kind: Mapped[str]
    """Of `domain.at_the_run.EQUIPMENT_KINDS`."""
    product_id: Mapped[UUID | None]
    maker: Mapped[str]
    model: Mapped[str]
    serial: Mapped[str]
    """As printed; empty: not recorded."""
    asset_number: Mapped[str]
    """The hospital's own number, in capitals; empty where it has none."""
    software: Mapped[str]
    made: Mapped[str]
    """As printed: "2029-04" or a day; empty: not recorded."""
    owner: Mapped[str]
    """Of a loan; empty: our own."""
    serviced_on: Mapped[date | None]
    disinfected_on: Mapped[date | None]
    active: Mapped[bool]


class EquipmentUse(Link, Base):
    """A machine served a run or a circuit; or none of its kind did."""

    __tablename__ = "equipment_use"
    __table_args__ = (
        same_site("equipment_id", "equipment"),
        same_site("run_id", "run"),
        same_site("circuit_id", "circuit"),
        one_open("one_open_equipment_use", "use_id"),
        one_open("one_open_use_of_equipment", "equipment_id", also="equipment_id IS NOT NULL"),
        Index("ix_equipment_use_site_id_use_id", "site_id", "use_id", *IN_ORDER),
        Index("ix_equipment_use_site_id_run_id", "site_id", "run_id", *IN_ORDER),
        Index("ix_equipment_use_site_id_circuit_id", "site_id", "circuit_id", *IN_ORDER),
        Index("ix_equipment_use_site_id_equipment_id", "site_id", "equipment_id", *IN_ORDER),
        Index("ix_equipment_use_site_id_serial", "site_id", "serial"),
        Index("ix_equipment_use_site_id_kind_product_id", "site_id", "kind", "product_id"),
        Index(
            "ix_equipment_use_unread",
            "kind",
            "site_id",
            sqlite_where=NOT_READ,
            postgresql_where=NOT_READ,
        ),
    )
    use_id: Mapped[UUID]
    """The use itself; stays the same when its row is superseded."""
    equipment_id: Mapped[UUID | None]
    """None: not in the register, or none was used."""
    kind: Mapped[str]
    product_id: Mapped[UUID | None]
    serial: Mapped[str | None]
    """None: not recorded."""
    circuit_id: Mapped[UUID | None]
    run_id: Mapped[UUID | None]
    none_used: Mapped[bool]
    """ "No heater-cooler used" is a fact."""


class EquipmentPlace(Link, Base):
    """Where a machine stood: water-borne notices concern the air of a room."""

    __tablename__ = "equipment_place"
    __table_args__ = (
        same_site("equipment_id", "equipment"),
        same_site("place_id", "place"),
        one_open("one_open_place_of_equipment", "equipment_id"),
        Index("ix_equipment_place_site_id_equipment_id", "site_id", "equipment_id", *IN_ORDER),
        Index("ix_equipment_place_site_id_place_id", "site_id", "place_id"),
    )
    equipment_id: Mapped[UUID]
    place_id: Mapped[UUID]


for _table in ("equipment_state", "equipment_use", "equipment_place"):
    never_changes(Base.metadata.tables[_table], but_once="superseded_no")
