"""Machines and modes follow the end of their run or circuit where a correction moved or took it.

They are ended by the entries that end what they serve. What a person ended by an entry of its own
stays as that entry says.
"""

from collections.abc import Callable
from datetime import datetime
from typing import Final, TypeVar
from uuid import UUID

from sqlalchemy import ColumnElement, select
from sqlalchemy.orm import Session

from traceability.domain.circuits import Phase
from traceability.domain.events import Recorded
from traceability.storage.circuits import CircuitPhase
from traceability.storage.corrections import RunEnd
from traceability.storage.equipment import EquipmentUse
from traceability.storage.projections.rows import replace
from traceability.storage.run_extras import RunMode
from traceability.storage.runs import Run

NO_LONGER_SERVED: Final = (Phase.ENDED, Phase.DISCARDED, Phase.TRANSFERRED_OUT, Phase.KEPT)

Served = TypeVar("Served", EquipmentUse, RunMode)


def service_of_run(
    session: Session, event: Recorded, run: Run, next_line: Callable[[], int]
) -> None:
    """Let what served a run end with it, or go on with it."""
    ends = select(RunEnd.recorded_no).filter_by(site_id=event.site_id, run_id=run.id)
    ended_by = set(session.scalars(ends))
    uses, modes = EquipmentUse.run_id == run.id, RunMode.run_id == run.id
    _follow(session, event, EquipmentUse, uses, ended_by, run.ended_at, next_line)
    _follow(session, event, RunMode, modes, ended_by, run.ended_at, next_line)


def service_of_circuit(
    session: Session, event: Recorded, circuit_id: UUID, next_line: Callable[[], int]
) -> None:
    """Do the same for what served a circuit."""
    rows = session.execute(
        select(CircuitPhase.recorded_no, CircuitPhase.superseded_no).filter_by(
            site_id=event.site_id, circuit_id=circuit_id
        )
    )
    ended_by = {number for row in rows for number in row if number}
    phases = (
        select(CircuitPhase)
        .filter_by(site_id=event.site_id, circuit_id=circuit_id, superseded_no=None)
        .order_by(CircuitPhase.valid_from, CircuitPhase.recorded_no, CircuitPhase.line)
    )
    end: datetime | None = None
    for phase in session.scalars(phases):
        if phase.phase not in NO_LONGER_SERVED:
            end = None
        elif end is None:
            end = phase.valid_from
    where = EquipmentUse.circuit_id == circuit_id
    _follow(session, event, EquipmentUse, where, ended_by, end, next_line)


def _follow(
    session: Session,
    event: Recorded,
    link: type[Served],
    where: ColumnElement[bool],
    ended_by: set[int],
    end: datetime | None,
    next_line: Callable[[], int],
) -> None:
    rows = (
        select(link)
        .where(link.site_id == event.site_id, where, link.superseded_no.is_(None))
        .order_by(link.recorded_no, link.line)
    )
    for row in session.scalars(rows).all():
        ended_with_it = row.valid_to is not None and row.recorded_no in ended_by
        if not ended_with_it and not (row.valid_to is None and end is not None):
            continue
        until = None if end is None else max(end, row.valid_from)
        if until == row.valid_to:
            continue
        disputed = row.disputed or (until is None and _is_taken(session, row))
        replace(session, row, event, next_line(), valid_to=until, disputed=disputed)
        session.flush()


def _is_taken(session: Session, row: EquipmentUse | RunMode) -> bool:
    """Tell whether another claim stands open: the machine or the mode has gone on without it."""
    open_ = {"site_id": row.site_id, "valid_to": None, "superseded_no": None, "disputed": False}
    if isinstance(row, RunMode):
        modes = select(RunMode.mode).filter_by(**open_, run_id=row.run_id)
        return session.scalar(modes.limit(1)) is not None
    if row.equipment_id is None:
        return False
    uses = select(EquipmentUse.use_id).filter_by(**open_, equipment_id=row.equipment_id)
    return session.scalar(uses.limit(1)) is not None
