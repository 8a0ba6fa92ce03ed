"""Where one piece with a serial is, or was, besides here."""

from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.domain.circuits import Phase
from traceability.storage.circuits import Circuit, Part
from traceability.storage.lookup import phase_of
from traceability.storage.run_extras import RunPart
from traceability.storage.runs import Run


def circuit_with_unit(session: Session, site_id: UUID, unit_id: UUID, besides: UUID) -> str | None:
    """Return the number of another circuit that holds or held this very unit."""
    rows = (
        select(Circuit.number)
        .join(Part, (Part.site_id == Circuit.site_id) & (Part.circuit_id == Circuit.id))
        .where(
            Part.site_id == site_id,
            Part.unit_id == unit_id,
            Part.superseded_no.is_(None),
            Part.circuit_id != besides,
        )
        .limit(1)
    )
    return session.scalar(rows)


def opened_before(session: Session, site_id: UUID, unit_id: UUID, here: UUID) -> str | None:
    """Return the number of a circuit that this very unit was put into and is out of again.

    It is out where it was dropped, swapped or taken out, also of the circuit `here`; and where the
    other circuit has ended or was discarded with the unit in it. None: it never was in one, or it
    sits in another circuit that is still in use.
    """
    # By the unit alone, and sorted here: else SQLite reads all parts there are, in their order.
    rows = session.execute(
        select(Part.circuit_id, Part.valid_to, Part.recorded_no).where(
            Part.unit_id == unit_id, Part.superseded_no.is_(None)
        )
    ).all()
    last = None
    for row in sorted(rows, key=lambda row: row.recorded_no):
        last = session.get_one(Circuit, (site_id, row.circuit_id))
        over = Phase(phase_of(session, last).phase) in {Phase.ENDED, Phase.DISCARDED}
        if row.valid_to is None and not over and last.id != here:
            return None
    return last.number if last else None


def run_with_unit(session: Session, site_id: UUID, unit_id: UUID, besides: UUID) -> str | None:
    """Return the number of another run in whose patient this very unit lies or lay."""
    rows = (
        select(Run.number)
        .join(RunPart, (RunPart.site_id == Run.site_id) & (RunPart.run_id == Run.id))
        .where(
            RunPart.site_id == site_id,
            RunPart.unit_id == unit_id,
            RunPart.superseded_no.is_(None),
            RunPart.run_id != besides,
        )
        .limit(1)
    )
    return session.scalar(rows)
