"""What a device did last on a prime, and the parts that stand because of one act."""

from uuid import UUID

from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from traceability.domain.steps import STEP_ACTS
from traceability.storage.circuits import Circuit, Part
from traceability.storage.scans import TrolleyAct


def last_act(
    session: Session, circuit: Circuit, device_id: UUID, *, placed_only: bool = False
) -> TrolleyAct | None:
    """Return the device's last act on this prime that was not taken back."""
    rows = select(TrolleyAct).where(
        TrolleyAct.site_id == circuit.site_id,
        TrolleyAct.circuit_id == circuit.id,
        TrolleyAct.device_id == device_id,
        TrolleyAct.undone_no.is_(None),
    )
    if placed_only:
        rows = rows.where(TrolleyAct.code.in_(UNDOABLE))
    return session.scalar(rows.order_by(TrolleyAct.recorded_no.desc()).limit(1))


DROPPED = "dropped"
UNDOABLE = ("placed", "said", DROPPED, *STEP_ACTS)
"""Codes of acts that fill or empty a place, or say a step, and that *undo* takes back."""


def parts_of_act(session: Session, circuit: Circuit, number: int) -> list[Part]:
    """Return the rows that stand because of this act: it put them in, or it ended them.

    A piece keeps its id when another act supersedes its row and undo brings it back. What another
    act has ended since is that act's.
    """
    pieces = pieces_of_act(session, circuit, number)
    rows = (
        select(Part)
        .where(
            Part.site_id == circuit.site_id,
            Part.circuit_id == circuit.id,
            Part.superseded_no.is_(None),
            Part.part_id.in_(pieces),
            or_(Part.valid_to.is_(None), Part.recorded_no == number),
        )
        .order_by(Part.recorded_no, Part.line)
    )
    return list(session.scalars(rows))


def pieces_of_act(session: Session, circuit: Circuit, number: int) -> set[UUID]:
    """Return the pieces that an act put in or ended."""
    rows = select(Part.part_id).where(
        Part.site_id == circuit.site_id,
        Part.circuit_id == circuit.id,
        Part.recorded_no == number,
    )
    return set(session.scalars(rows))


def parts_replaced_by(session: Session, circuit: Circuit, number: int) -> list[Part]:
    """Return the rows that this act superseded, oldest first."""
    rows = (
        select(Part)
        .filter_by(site_id=circuit.site_id, circuit_id=circuit.id, superseded_no=number)
        .order_by(Part.recorded_no, Part.line)
    )
    return list(session.scalars(rows))
