"""Lists of steps, which one a prime was begun with, and what was said of each step."""

import json
from datetime import datetime
from uuid import UUID

from sqlalchemy import Index, func, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from traceability.domain.step_lists import read_list
from traceability.domain.steps import ReadingSaid, Step, StepList, StepSaid, StepState
from traceability.storage.base import IN_ORDER, Base, Link, believed_at, one_open, same_site
from traceability.storage.circuits import Circuit
from traceability.storage.triggers import never_changes


class StepListVersion(Base):
    """One version of the list for one way of priming."""

    __tablename__ = "step_list"
    site_id: Mapped[UUID] = mapped_column(primary_key=True)
    way: Mapped[str] = mapped_column(primary_key=True)
    version: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    body: Mapped[str]
    """Canonical JSON; see `domain.step_lists`."""
    set_at: Mapped[datetime]
    recorded_no: Mapped[int]


class PrimeSteps(Base):
    """Which version of which list a prime goes by; a prime begun without a list has no row."""

    __tablename__ = "prime_steps"
    __table_args__ = (same_site("circuit_id", "circuit"),)
    site_id: Mapped[UUID] = mapped_column(primary_key=True)
    circuit_id: Mapped[UUID] = mapped_column(primary_key=True)
    way: Mapped[str]
    version: Mapped[int]
    recorded_no: Mapped[int]


class StepRow(Link, Base):
    """What was said of a step; `valid_from` is when it was so in the room."""

    __tablename__ = "step_said"
    __table_args__ = (
        same_site("circuit_id", "circuit"),
        one_open("one_open_step", "circuit_id", "step"),
        Index("ix_step_said_site_id_circuit_id", "site_id", "circuit_id", *IN_ORDER),
    )
    circuit_id: Mapped[UUID]
    step: Mapped[str]
    state: Mapped[str]
    begun_at: Mapped[datetime | None]
    reason: Mapped[str]
    """Code of why it was not done; else empty."""
    readings: Mapped[str]
    """Canonical JSON list of what was read, in thousandths of its unit."""
    by_id: Mapped[UUID | None]
    other_id: Mapped[UUID | None]
    """The second person, where the step asks for two."""
    late: Mapped[bool]
    """Said after the prime had ended."""
    said_no: Mapped[int]
    """Number of the entry that said it; stays the same when undo brings the row back."""


never_changes(Base.metadata.tables["step_said"], but_once="superseded_no")


def newest_version(session: Session, site_id: UUID, way: str) -> int:
    """Return the number of the version in force; 0 where there is none."""
    newest = select(func.max(StepListVersion.version)).filter_by(site_id=site_id, way=way)
    return session.scalar(newest) or 0


def list_of(session: Session, circuit: Circuit) -> StepList | None:
    """Return the version of the list that the circuit's prime goes by, or None."""
    chosen = session.get(PrimeSteps, (circuit.site_id, circuit.id))
    if chosen is None:
        return None
    stored = session.get(StepListVersion, (circuit.site_id, chosen.way, chosen.version))
    return None if stored is None else read_list(json.loads(stored.body))


def steps_of(session: Session, circuit: Circuit) -> tuple[Step, ...]:
    """Return the steps of the circuit's prime, in order; none where it has no list."""
    steps = list_of(session, circuit)
    return () if steps is None else steps.for_type(circuit.circuit_type)


def said_of(session: Session, circuit: Circuit, as_of_no: int | None = None) -> dict[str, StepSaid]:
    """Return what stands of each step, by the step's short name."""
    rows = (
        select(StepRow)
        .where(
            StepRow.site_id == circuit.site_id,
            StepRow.circuit_id == circuit.id,
            believed_at(StepRow, as_of_no),
        )
        .order_by(StepRow.recorded_no, StepRow.line)
    )
    return {row.step: _said(row) for row in session.scalars(rows)}


def row_of(session: Session, circuit: Circuit, step: str) -> StepRow | None:
    """Return the row that stands of a step."""
    rows = select(StepRow).filter_by(
        site_id=circuit.site_id, circuit_id=circuit.id, step=step, superseded_no=None
    )
    return session.scalar(rows)


def said_after(session: Session, site_id: UUID, circuit_id: UUID, number: int) -> list[int]:
    """Return the entries after one that said a step of the circuit, or took it back."""
    found: set[int] = set()
    for row in session.scalars(select(StepRow).filter_by(site_id=site_id, circuit_id=circuit_id)):
        found |= {each for each in (row.recorded_no, row.superseded_no) if each and each > number}
    return sorted(found)


def _said(row: StepRow) -> StepSaid:
    return StepSaid(
        step=row.step,
        state=StepState(row.state),
        at=row.valid_from,
        begun_at=row.begun_at,
        reason=row.reason,
        readings=tuple(ReadingSaid(**each) for each in json.loads(row.readings)),
        by_id=row.by_id,
        other_id=row.other_id,
        number=row.said_no,
        late=row.late,
    )
