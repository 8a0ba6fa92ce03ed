"""Loaders of what people did at the shelf: looks at a circuit, and how it stands ready."""

import json

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.domain.shelf_checks import Look
from traceability.storage.circuits import Circuit
from traceability.storage.shelf import CircuitWay, ShelfCheck


def looks_at(session: Session, circuit: Circuit) -> list[Look]:
    """Return the looks at a circuit on the shelf, in the order recorded."""
    rows = (
        select(ShelfCheck)
        .where(
            ShelfCheck.site_id == circuit.site_id,
            ShelfCheck.circuit_id == circuit.id,
            ShelfCheck.superseded_no.is_(None),
        )
        .order_by(ShelfCheck.recorded_no, ShelfCheck.line)
    )
    return [
        Look(at=row.valid_from, good=row.good, findings=tuple(json.loads(row.findings)))
        for row in session.scalars(rows)
    ]


def way_of(session: Session, circuit: Circuit) -> CircuitWay | None:
    """Return how the circuit stands since when; None while priming, and for primes before this."""
    rows = select(CircuitWay).filter_by(
        site_id=circuit.site_id, circuit_id=circuit.id, valid_to=None, superseded_no=None
    )
    return session.scalar(rows.order_by(CircuitWay.recorded_no.desc()).limit(1))
