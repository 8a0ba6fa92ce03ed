"""Patient runs, the circuits that supported them, and who the patient is."""

from datetime import datetime
from uuid import UUID

from sqlalchemy import Index, UniqueConstraint
from sqlalchemy.orm import Mapped

from traceability.storage.base import IN_ORDER, Base, Entity, Link, one_open, same_site
from traceability.storage.triggers import never_changes


class Run(Entity, Base):
    """One patient's continuous support; may use several circuits one after the other."""

    __tablename__ = "run"
    __table_args__ = (UniqueConstraint("site_id", "number"),)
    number: Mapped[str]
    """"R-0231"."""
    begun_at: Mapped[datetime]
    ended_at: Mapped[datetime | None]
    begun_no: Mapped[int]


class CircuitOnRun(Link, Base):
    """A circuit's time with a run: possible from *taken*, certain from *flow on*, until off."""

    __tablename__ = "circuit_on_run"
    __table_args__ = (
        same_site("circuit_id", "circuit"),
        same_site("run_id", "run"),
        one_open("one_open_run_of_a_circuit", "circuit_id"),
        Index("ix_circuit_on_run_site_id_circuit_id", "site_id", "circuit_id", *IN_ORDER),
        Index("ix_circuit_on_run_site_id_run_id", "site_id", "run_id", *IN_ORDER),
        Index("ix_circuit_on_run_site_id_valid_from", "site_id", "valid_from"),
        Index("ix_circuit_on_run_site_id_valid_to", "site_id", "valid_to", "superseded_no"),
    )
    circuit_id: Mapped[UUID]
    run_id: Mapped[UUID]
    flow_from: Mapped[datetime | None]
    """None: "flow on: not recorded"; the patient counts as possibly exposed from *taken*."""


class Patient(Entity, Base):
    """A patient reference. Its text is kept apart and can be erased; this row cannot tell it."""

    __tablename__ = "patient"
    __table_args__ = (
        Index("ix_patient_site_id_kept_id", "site_id", "kept_id"),
        Index("ix_patient_site_id_temporary", "site_id", "temporary"),
    )
    kept_id: Mapped[UUID | None]
    """None for a temporary identity."""
    temporary: Mapped[str | None]
    """"TEMP-7": a name that says nothing about anybody."""


class RunPatient(Link, Base):
    """A run belongs to this patient; another identity adds a row and never rewrites one."""

    __tablename__ = "run_patient"
    __table_args__ = (
        same_site("run_id", "run"),
        same_site("patient_id", "patient"),
        one_open("one_open_patient_of_a_run", "run_id"),
        Index("ix_run_patient_site_id_run_id", "site_id", "run_id", *IN_ORDER),
        Index("ix_run_patient_site_id_patient_id", "site_id", "patient_id", *IN_ORDER),
    )
    run_id: Mapped[UUID]
    patient_id: Mapped[UUID]


for _table in ("circuit_on_run", "run_patient"):
    never_changes(Base.metadata.tables[_table], but_once="superseded_no")
