"""What belongs to a run besides its circuits, what was given into a prime, and who keeps a circuit.

Cannulae, guide wires and reperfusion lines lie in the patient: they are links of their own to the
run, with their own times, and a change of circuit does not touch them.
"""

from typing import Final
from uuid import UUID

from sqlalchemy import Index, text
from sqlalchemy.orm import Mapped, mapped_column

from traceability.storage.base import IN_ORDER, Base, Link, one_open, same_site
from traceability.storage.triggers import never_changes

HAS_LOT: Final = text("lot_id IS NOT NULL")

HAS_NO_LOT: Final = text("lot_id IS NULL")
"""A run part is always in: without a lot it may be of any."""

IS_DISPUTED: Final = text("disputed")


class RunMode(Link, Base):
    """The mode in which a run was supported."""

    __tablename__ = "run_mode"
    __table_args__ = (
        same_site("run_id", "run"),
        one_open("one_open_mode_of_a_run", "run_id"),
        Index("ix_run_mode_site_id_run_id", "site_id", "run_id", *IN_ORDER),
    )
    run_id: Mapped[UUID]
    mode: Mapped[str]
    """Of `domain.at_the_run.MODES`."""


class RunPart(Link, Base):
    """A cannula, guide wire or reperfusion line in a run's patient."""

    __tablename__ = "run_part"
    __table_args__ = (
        same_site("run_id", "run"),
        one_open("one_open_run_part", "part_id"),
        one_open("one_open_run_part_of_a_unit", "unit_id", also="unit_id IS NOT NULL"),
        Index("ix_run_part_site_id_run_id", "site_id", "run_id", *IN_ORDER),
        Index("ix_run_part_site_id_part_id", "site_id", "part_id", *IN_ORDER),
        Index("ix_run_part_unit", "unit_id"),
        Index(
            "ix_run_part_lot",
            "lot_id",
            "run_id",
            "recorded_no",
            "superseded_no",
            sqlite_where=HAS_LOT,
            postgresql_where=HAS_LOT,
        ),
        Index(
            "ix_run_part_gap",
            "kind",
            "product_id",
            "superseded_no",
            "run_id",
            sqlite_where=HAS_NO_LOT,
            postgresql_where=HAS_NO_LOT,
        ),
        Index(
            "ix_run_part_disputed", "kind", sqlite_where=IS_DISPUTED, postgresql_where=IS_DISPUTED
        ),
    )
    run_id: Mapped[UUID]
    part_id: Mapped[UUID]
    """The piece itself; stays the same when its row is superseded."""
    kind: Mapped[str]
    state: Mapped[str]
    """Of `domain.parts.PartState`."""
    known: Mapped[str]
    product_id: Mapped[UUID | None]
    lot_id: Mapped[UUID | None]
    serial: Mapped[str | None]
    unit_id: Mapped[UUID | None]
    """Product and serial as one key; a one-use unit is used once."""
    expiry: Mapped[str | None]
    body_site: Mapped[str]
    """Where it lies: of `domain.at_the_run.BODY_SITES`."""


class Additive(Base):
    """What was given into a prime: dose and unit beside the part's own row, which has its lot."""

    __tablename__ = "additive"
    __table_args__ = (
        same_site("circuit_id", "circuit"),
        Index("ix_additive_site_id_circuit_id", "site_id", "circuit_id", "recorded_no"),
    )
    site_id: Mapped[UUID] = mapped_column(primary_key=True)
    recorded_no: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    circuit_id: Mapped[UUID]
    part_id: Mapped[UUID]
    name: Mapped[str]
    dose: Mapped[str]
    """As entered, without its unit; empty: not recorded."""
    unit: Mapped[str]
    blood: Mapped[bool]


class Custody(Link, Base):
    """Who keeps a circuit that is kept for inspection."""

    __tablename__ = "custody"
    __table_args__ = (
        same_site("circuit_id", "circuit"),
        one_open("one_open_custody", "circuit_id"),
        Index("ix_custody_site_id_circuit_id", "site_id", "circuit_id", *IN_ORDER),
    )
    circuit_id: Mapped[UUID]
    kept_id: Mapped[UUID | None]
    """The text kept apart that names the keeper; None: the unit itself."""
    reason: Mapped[str]
    """Of `domain.at_the_run.CUSTODY_REASONS`; empty at the beginning."""


for _table in ("run_mode", "run_part", "custody"):
    never_changes(Base.metadata.tables[_table], but_once="superseded_no")
