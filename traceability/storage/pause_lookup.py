"""Who is at a prime now, and whether anybody is."""

from datetime import datetime
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.storage.base import believed_at
from traceability.storage.circuits import Circuit
from traceability.storage.pauses import PrimePair, PrimePause
from traceability.storage.scans import TrolleyAct


def open_pause(session: Session, circuit: Circuit) -> PrimePause | None:
    """Return the pause that goes on; None: there is none, or somebody has gone on since.

    An act that was done after the pause says that work goes on, even if nobody took over by name.
    One that was done before it and came late from a device says nothing.
    """
    rows = select(PrimePause).where(
        PrimePause.site_id == circuit.site_id,
        PrimePause.circuit_id == circuit.id,
        PrimePause.valid_to.is_(None),
        believed_at(PrimePause, None),
    )
    pause = session.scalar(rows)
    if pause is None:
        return None
    since = select(TrolleyAct.recorded_no).where(
        TrolleyAct.site_id == circuit.site_id,
        TrolleyAct.circuit_id == circuit.id,
        TrolleyAct.recorded_no > pause.recorded_no,
        TrolleyAct.at >= pause.valid_from,
    )
    return None if session.scalar(since.limit(1)) is not None else pause


def hand_overs(
    session: Session, circuit: Circuit, as_of_no: int | None = None
) -> tuple[datetime, ...]:
    """Return when other pairs took the prime over, first to last."""
    rows = (
        select(PrimePair.valid_from)
        .where(
            PrimePair.site_id == circuit.site_id,
            PrimePair.circuit_id == circuit.id,
            believed_at(PrimePair, as_of_no),
        )
        .order_by(PrimePair.valid_from)
    )
    return tuple(session.scalars(rows))


def pair_of(
    session: Session, circuit: Circuit, as_of_no: int | None = None
) -> tuple[UUID | None, UUID | None]:
    """Return ids of primer and helper: of the last hand-over, else who began the prime."""
    rows = select(PrimePair).where(
        PrimePair.site_id == circuit.site_id,
        PrimePair.circuit_id == circuit.id,
        PrimePair.valid_to.is_(None),
        believed_at(PrimePair, as_of_no),
    )
    pair = session.scalar(rows)
    if pair is None:
        return circuit.primer_id, circuit.helper_id
    return pair.primer_id, pair.helper_id
