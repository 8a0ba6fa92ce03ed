"""Loaders of what people did at the shelf: looks at a circuit, and how it stands ready."""

import json
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.domain.shelf_checks import Look
from traceability.domain.use_by import Way
from traceability.storage.base import believed_at
from traceability.storage.circuits import Circuit
from traceability.storage.shelf import CircuitWay, ShelfCheck


def looks_at(session: Session, circuit: Circuit, as_of_no: int | None = None) -> list[Look]:
    """Return the looks at a circuit on the shelf, in the order recorded."""
    rows = (
        select(ShelfCheck)
        .where(
            ShelfCheck.site_id == circuit.site_id,
            ShelfCheck.circuit_id == circuit.id,
            believed_at(ShelfCheck, as_of_no),
        )
        .order_by(ShelfCheck.recorded_no, ShelfCheck.line)
    )
    return [
        Look(at=row.valid_from, good=row.good, findings=tuple(json.loads(row.findings)))
        for row in session.scalars(rows)
    ]


def stood_as(session: Session, circuit: Circuit, sheet_way: str) -> tuple[Way, datetime | None]:
    """Return how it stood ready when its prime ended, and when it was opened since; None: not."""
    rows = select(CircuitWay).filter_by(
        site_id=circuit.site_id, circuit_id=circuit.id, superseded_no=None
    )
    ways = session.scalars(rows.order_by(CircuitWay.valid_from, CircuitWay.recorded_no)).all()
    first = Way(ways[0].way if ways else sheet_way)
    opened = (row.valid_from for row in ways[1:] if row.way == Way.WET_OPEN)
    return first, next(opened, None)


def way_of(session: Session, circuit: Circuit, as_of_no: int | None = None) -> CircuitWay | None:
    """Return how the circuit stands since when; None while priming, and for primes before this."""
    rows = (
        select(CircuitWay)
        .filter_by(site_id=circuit.site_id, circuit_id=circuit.id, valid_to=None)
        .where(believed_at(CircuitWay, as_of_no))
    )
    return session.scalar(rows.order_by(CircuitWay.recorded_no.desc()).limit(1))
