"""Where corrections are found by what they speak of, and rows that corrections alone decide."""

from uuid import UUID

from sqlalchemy import Index
from sqlalchemy.orm import Mapped, Session, mapped_column

from traceability.storage.base import IN_ORDER, Base, Link, one_open, same_site
from traceability.storage.triggers import never_changes


class Correction(Base):
    """An entry speaks of an earlier one about this circuit, run or patient reference."""

    __tablename__ = "correction"
    __table_args__ = (
        Index("ix_correction_site_id_subject_id", "site_id", "subject_id", *IN_ORDER),
        Index("ix_correction_site_id_of_no", "site_id", "of_no"),
    )
    site_id: Mapped[UUID] = mapped_column(primary_key=True)
    recorded_no: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    line: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    subject_id: Mapped[UUID]
    of_no: Mapped[int]
    """Number of the entry that is corrected; of a ruling, of the claim that falls."""


class Restated(Base):
    """A row that a correction wrote again: what it says came from an earlier entry.

    Whoever asks what kind of act a row stands for, asks for the kind of that entry.
    """

    __tablename__ = "restated"
    site_id: Mapped[UUID] = mapped_column(primary_key=True)
    recorded_no: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    line: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    origin_no: Mapped[int]


def origin_no(session: Session, row: Link) -> int:
    """Return the number of the entry that a row came from, also if a correction wrote it again."""
    again = session.get(Restated, (row.site_id, row.recorded_no, row.line))
    return row.recorded_no if again is None else again.origin_no


class RunEnd(Link, Base):
    """When a run ended, `valid_from`; a run that goes on has no believed row."""

    __tablename__ = "run_end"
    __table_args__ = (
        same_site("run_id", "run"),
        one_open("one_end_of_a_run", "run_id"),
        Index("ix_run_end_site_id_run_id", "site_id", "run_id", *IN_ORDER),
    )
    run_id: Mapped[UUID]


class PatientMerge(Link, Base):
    """A patient reference is another one's: a temporary identity became known.

    Neither reference nor any run's row is touched; readers follow the chain to its end.
    """

    __tablename__ = "patient_merge"
    __table_args__ = (
        same_site("patient_id", "patient"),
        same_site("into_id", "patient"),
        one_open("one_open_merge_of_a_patient", "patient_id"),
        Index("ix_patient_merge_site_id_patient_id", "site_id", "patient_id", *IN_ORDER),
        Index("ix_patient_merge_site_id_into_id", "site_id", "into_id"),
    )
    patient_id: Mapped[UUID]
    into_id: Mapped[UUID]


for _table in ("correction", "restated"):
    never_changes(Base.metadata.tables[_table])
for _table in ("run_end", "patient_merge"):
    never_changes(Base.metadata.tables[_table], but_once="superseded_no")
