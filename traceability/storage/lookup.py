"""Loaders: rows of now, or as of a ledger number, as the records of `domain`.

Both the acts and the reads use them; nothing here writes or locks unless it says so.
"""

import json
from datetime import date, datetime
from functools import lru_cache
from uuid import UUID

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from traceability.domain.circuits import Phase, Standing
from traceability.domain.in_place import InPlace
from traceability.domain.parts import PartState
from traceability.domain.sheets import Sheet as BuildSheet
from traceability.domain.sheets import read_sheet
from traceability.domain.shelf_checks import last_look
from traceability.storage.base import believed_at
from traceability.storage.circuits import Circuit, CircuitPhase, Part, Prime, Sheet, Signature
from traceability.storage.holds import Hold
from traceability.storage.items import Lot, Packaging, Product
from traceability.storage.runs import CircuitOnRun
from traceability.storage.scans import TrolleyAct
from traceability.storage.shelf_lookup import looks_at
from traceability.storage.site import Series


def circuit_by_number(session: Session, site_id: UUID, number: str) -> Circuit | None:
    """Return the circuit of that number; upper and lower case are alike to people."""
    return session.scalar(select(Circuit).filter_by(site_id=site_id, number=number.upper()))


def locked_circuit(session: Session, site_id: UUID, circuit_id: UUID) -> Circuit | None:
    """Return the circuit with its row locked until the end of the transaction (PostgreSQL)."""
    rows = select(Circuit).filter_by(site_id=site_id, id=circuit_id).with_for_update()
    return session.scalar(rows, execution_options={"populate_existing": True})


def next_number(session: Session, site_id: UUID, letter: str) -> str:
    """Return the next number of a series; call it with the ledger's head locked."""
    last = session.scalar(select(Series.last).filter_by(site_id=site_id, letter=letter)) or 0
    return f"{letter}-{last + 1:04d}"


def sheet_of(session: Session, site_id: UUID, circuit_type: str, version: int) -> BuildSheet | None:
    """Return one version of a sheet."""
    stored = session.get(Sheet, (site_id, circuit_type, version))
    return None if stored is None else sheet_of_text(stored.body)


@lru_cache(maxsize=64)
def sheet_of_text(body: str) -> BuildSheet:
    """Return the sheet that a stored text says: a version never changes, so it is read once."""
    return read_sheet(json.loads(body))


def newest_sheet(session: Session, site_id: UUID, circuit_type: str) -> BuildSheet | None:
    """Return the sheet in force."""
    rows = (
        select(Sheet)
        .filter_by(site_id=site_id, circuit_type=circuit_type)
        .order_by(Sheet.version.desc())
        .limit(1)
    )
    stored = session.scalar(rows)
    return None if stored is None else sheet_of_text(stored.body)


def packaging_of(
    session: Session, site_id: UUID, standard: str, identifier: str
) -> tuple[Product, int] | None:
    """Return the product that an identifier stands for and how many pieces, or None if unknown."""
    level = session.get(Packaging, (site_id, standard, identifier))
    if level is None:
        return None
    return session.get_one(Product, (site_id, level.product_id)), level.units


def in_place(session: Session, circuit: Circuit, as_of_no: int | None = None) -> list[InPlace]:
    """Return what every place of a circuit holds, open rows only, in the order it came."""
    act = TrolleyAct
    rows = session.execute(
        select(
            Part.slot,
            Part.ordinal,
            Part.state,
            Part.product_id,
            Part.kind,
            Lot.text,
            Part.serial,
            Part.valid_from,
            act.device_id,
        )
        .outerjoin(Lot, (Lot.site_id == Part.site_id) & (Lot.id == Part.lot_id))
        .outerjoin(act, (act.site_id == Part.site_id) & (act.recorded_no == Part.recorded_no))
        .where(
            Part.site_id == circuit.site_id,
            Part.circuit_id == circuit.id,
            Part.valid_to.is_(None),
            believed_at(Part, as_of_no),
        )
        .order_by(Part.recorded_no, Part.line)
    )
    return [
        InPlace(
            slot=row.slot,
            ordinal=row.ordinal,
            state=PartState(row.state),
            product_id=row.product_id,
            kind=row.kind,
            lot=row.text,
            serial=row.serial,
            scanned_at=row.valid_from,
            device_id=row.device_id,
        )
        for row in rows
    ]


def hold_on(
    session: Session, site_id: UUID, *subjects: UUID | None, as_of_no: int | None = None
) -> Hold | None:
    """Return an open hold on any of these circuits, lots or products."""
    ids = [subject for subject in subjects if subject is not None]
    rows = (
        select(Hold)
        .where(
            Hold.site_id == site_id,
            Hold.subject_id.in_(ids),
            Hold.valid_to.is_(None),
            believed_at(Hold, as_of_no),
        )
        .order_by(Hold.recorded_no + 0)  # else SQLite reads all holds there are, in their order
        .limit(1)
    )
    return session.scalar(rows)


def phase_of(session: Session, circuit: Circuit, as_of_no: int | None = None) -> CircuitPhase:
    """Return the circuit's open phase."""
    rows = (
        select(CircuitPhase)
        .where(
            CircuitPhase.site_id == circuit.site_id,
            CircuitPhase.circuit_id == circuit.id,
            CircuitPhase.valid_to.is_(None),
            believed_at(CircuitPhase, as_of_no),
        )
        .order_by(CircuitPhase.recorded_no.desc())
        .limit(1)
    )
    return session.scalars(rows).one()


def phase_before(session: Session, circuit: Circuit) -> CircuitPhase | None:
    """Return the phase that the open one ended, or None at a circuit's beginning."""
    rows = (
        select(CircuitPhase)
        .where(
            CircuitPhase.site_id == circuit.site_id,
            CircuitPhase.circuit_id == circuit.id,
            CircuitPhase.valid_to.is_not(None),
            CircuitPhase.superseded_no.is_(None),
        )
        .order_by(CircuitPhase.recorded_no.desc(), CircuitPhase.line.desc())
        .limit(1)
    )
    return session.scalar(rows)


def is_only_circuit(session: Session, claim: CircuitOnRun) -> bool:
    """Tell whether the run of this claim has had no other circuit."""
    others = select(CircuitOnRun.circuit_id).where(
        CircuitOnRun.site_id == claim.site_id,
        CircuitOnRun.run_id == claim.run_id,
        CircuitOnRun.circuit_id != claim.circuit_id,
        CircuitOnRun.superseded_no.is_(None),
    )
    return session.scalar(others.limit(1)) is None


def prime_of(session: Session, circuit: Circuit, as_of_no: int | None = None) -> Prime | None:
    """Return the end of the circuit's prime, if it has one."""
    rows = (
        select(Prime)
        .where(
            Prime.site_id == circuit.site_id,
            Prime.circuit_id == circuit.id,
            believed_at(Prime, as_of_no),
        )
        .order_by(Prime.recorded_no.desc())
        .limit(1)
    )
    return session.scalar(rows)


def signatures_of(
    session: Session, circuit: Circuit, as_of_no: int | None = None
) -> list[Signature]:
    """Return the good signatures under the circuit's prime, first signed first."""
    rows = (
        select(Signature)
        .where(
            Signature.site_id == circuit.site_id,
            Signature.circuit_id == circuit.id,
            Signature.valid_to.is_(None),
            believed_at(Signature, as_of_no),
        )
        .order_by(Signature.valid_from, Signature.recorded_no)
    )
    return list(session.scalars(rows))


def standing_of(session: Session, circuit: Circuit, as_of_no: int | None = None) -> Standing:
    """Return the facts that decide the circuit's state."""
    prime = prime_of(session, circuit, as_of_no)
    not_fitted = select(func.count()).where(
        Part.site_id == circuit.site_id,
        Part.circuit_id == circuit.id,
        Part.state == PartState.NOT_FITTED,
        Part.valid_to.is_(None),
        believed_at(Part, as_of_no),
    )
    return Standing(
        phase=Phase(phase_of(session, circuit, as_of_no).phase),
        signatures=len(signatures_of(session, circuit, as_of_no)),
        on_hold=hold_on(session, circuit.site_id, circuit.id, as_of_no=as_of_no) is not None,
        use_by=prime.use_by if prime else None,
        parts_missing=bool(session.scalar(not_fitted)),
        not_right=(look := last_look(looks_at(session, circuit, as_of_no))) is not None
        and not look.good,
    )


def printed_expiry(day: date | None, *, day_given: bool) -> str | None:
    """Return an expiry as printed: a month stays a month."""
    if day is None:
        return None
    return day.isoformat() if day_given else f"{day:%Y-%m}"


def moment_text(at: datetime) -> str:
    """Return a moment as the ledger writes it."""
    return at.isoformat(timespec="microseconds")
