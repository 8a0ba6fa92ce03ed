"""The rows that decide an answer, as of a ledger number, through indexes that cover them.

The cost grows with the answer, not with the store: circuits by lot, by gaps of the kind asked for,
by look-alike lots, and those whose contents are not recorded. Everything else is excluded and is
only counted.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final
from uuid import UUID

from sqlalchemy import ColumnElement, Select, and_, func, or_, select
from sqlalchemy.orm import InstrumentedAttribute, Session

from traceability.domain.parts import PartState
from traceability.domain.scopes import loose_key
from traceability.recall.question import Question
from traceability.storage.base import Link, believed_at
from traceability.storage.circuits import (
    Circuit,
    CircuitPhase,
    CircuitPlace,
    Part,
    Prime,
)
from traceability.storage.items import Lot
from traceability.storage.ledger import LedgerEvent, LedgerHead
from traceability.storage.runs import CircuitOnRun, Run, RunPatient
from traceability.storage.site import Place

BLOCK: Final = 500
"""Ids asked for at once: SQLite takes a limited number of values in one statement."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PartSeen:
    """A part of the kind asked for, in one circuit for some time."""

    circuit_id: UUID
    slot: str
    kind: str
    state: PartState
    known: str
    product_id: UUID | None
    lot_id: UUID | None
    lot: str | None
    start: datetime
    end: datetime | None
    leaves: bool
    stays: bool
    disputed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class CircuitSeen:
    """A circuit as it stood at the number asked for."""

    id: UUID
    site_id: UUID
    number: str
    circuit_type: str
    recorded: bool
    """False: contents not recorded."""
    begun_at: datetime
    primed_at: datetime | None
    phase: str
    phase_since: datetime | None
    reason: str
    place: str
    on_runs: tuple["OnRun", ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class OnRun:
    """A circuit's time with a run."""

    run_id: UUID
    run: str
    taken_at: datetime
    flow_from: datetime | None
    end: datetime | None
    disputed: bool
    transferred: bool
    """The circuit left with the patient: what came after is beyond our record."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """Where an answer was cut."""

    number: int
    recorded_at: datetime | None
    """Of the last entry included; None before the first."""
    device_id: UUID | None
    sites: tuple[UUID, ...]
    """Whose rows are read; every index of a link begins with the site."""


def cut_at(session: Session, number: int | None) -> Cut:
    """Return the last event at or before `number`; None means all that is recorded."""
    rows = select(LedgerEvent.number, LedgerEvent.recorded_at, LedgerEvent.device_id)
    if number is not None:
        rows = rows.where(LedgerEvent.number <= number)
    found = session.execute(rows.order_by(LedgerEvent.number.desc()).limit(1)).first()
    sites = tuple(session.scalars(select(LedgerHead.site_id)))
    if found is None:
        return Cut(number=0, recorded_at=None, device_id=None, sites=sites)
    return Cut(
        number=found.number,
        recorded_at=found.recorded_at,
        device_id=found.device_id,
        sites=sites,
    )


def parts_of_lots(session: Session, lot_ids: Sequence[UUID], cut: Cut) -> list[PartSeen]:
    """Return every part of these lots, in whatever circuit and however long."""
    found: list[PartSeen] = []
    for block in _blocks(lot_ids):
        found += _parts(session, Part.lot_id.in_(block), cut)
    return found


def parts_of_products(session: Session, question: Question, cut: Cut) -> list[PartSeen]:
    """Return every part of the products asked for, whose lot is recorded."""
    lots = select(Lot.id).where(
        Lot.site_id.in_(cut.sites), Lot.product_id.in_([each.id for each in question.products])
    )
    return parts_of_lots(session, list(session.scalars(lots)), cut)


def parts_with_gaps(session: Session, question: Question, cut: Cut) -> list[PartSeen]:
    """Return parts that may be what is asked for, because their lot or product is not known."""
    products = [each.id for each in question.products]
    may_be = or_(
        Part.product_id.in_(products),
        and_(Part.product_id.is_(None), Part.kind.in_(sorted(question.kinds))),
    )
    gap = Part.lot_id.is_(None) & Part.state.not_in([PartState.NOT_FITTED, PartState.TICKED])
    return _parts(session, gap & Part.kind.in_(sorted(question.kinds)) & may_be, cut)


def lots_alike(session: Session, question: Question, cut: Cut) -> list[UUID]:
    """Return lots of the same products whose text is only like one asked for."""
    wanted = {lot.id for lot in question.lots}
    keys = {loose_key(lot.text) for lot in question.lots} - {""}
    rows = select(Lot.id).where(
        Lot.site_id.in_(cut.sites),
        Lot.product_id.in_([each.id for each in question.products]),
        Lot.loose_key.in_(sorted(keys)),
    )
    return [lot_id for lot_id in session.scalars(rows) if lot_id not in wanted]


def unknown_contents(session: Session, cut: Cut) -> list[UUID]:
    """Return the circuits whose contents are not recorded."""
    rows = select(Circuit.id).where(
        Circuit.site_id.in_(cut.sites),
        Circuit.contents == "not-recorded",
        Circuit.begun_no <= cut.number,
    )
    return list(session.scalars(rows))


def circuits_begun(session: Session, cut: Cut) -> int:
    """Return how many circuits the record holds."""
    rows = (
        select(func.count())
        .select_from(Circuit)
        .where(Circuit.site_id.in_(cut.sites), Circuit.begun_no <= cut.number)
    )
    return session.scalar(rows) or 0


def circuits(session: Session, ids: Iterable[UUID], cut: Cut) -> dict[UUID, CircuitSeen]:
    """Return what is needed of these circuits, by id."""
    found: dict[UUID, CircuitSeen] = {}
    for block in _blocks(list(ids)):
        found |= _block_of_circuits(session, block, cut)
    return found


def patients_of(session: Session, run_ids: Iterable[UUID], cut: Cut) -> dict[UUID, UUID]:
    """Return the patient's id of each run that has one. The text stays where it is kept."""
    found: dict[UUID, UUID] = {}
    for block in _blocks(list(run_ids)):
        rows = select(RunPatient.run_id, RunPatient.patient_id).where(
            RunPatient.site_id.in_(cut.sites),
            RunPatient.run_id.in_(block),
            RunPatient.valid_to.is_(None),
            believed_at(RunPatient, cut.number),
        )
        found |= {row.run_id: row.patient_id for row in session.execute(rows)}
    return found


def _parts(session: Session, where: ColumnElement[bool], cut: Cut) -> list[PartSeen]:
    rows = (
        select(
            Part.circuit_id,
            Part.slot,
            Part.kind,
            Part.state,
            Part.known,
            Part.product_id,
            Part.lot_id,
            Lot.text,
            Part.valid_from,
            Part.valid_to,
            Part.leaves,
            Part.stays,
            Part.disputed,
        )
        .outerjoin(Lot, (Lot.site_id == Part.site_id) & (Lot.id == Part.lot_id))
        .where(where, believed_at(Part, cut.number))
    )
    return [
        PartSeen(
            circuit_id=row.circuit_id,
            slot=row.slot,
            kind=row.kind,
            state=PartState(row.state),
            known=row.known,
            product_id=row.product_id,
            lot_id=row.lot_id,
            lot=row.text,
            start=row.valid_from,
            end=row.valid_to,
            leaves=row.leaves,
            stays=row.stays,
            disputed=row.disputed,
        )
        for row in session.execute(rows)
    ]


def _block_of_circuits(
    session: Session, block: Sequence[UUID], cut: Cut
) -> dict[UUID, CircuitSeen]:
    phases = {
        row.circuit_id: row
        for row in session.execute(
            _open(
                CircuitPhase,
                block,
                cut,
                CircuitPhase.phase,
                CircuitPhase.valid_from,
                CircuitPhase.reason,
            )
        )
    }
    places = {
        row.circuit_id: row.name
        for row in session.execute(
            _open(CircuitPlace, block, cut, Place.name).join(
                Place,
                (Place.site_id == CircuitPlace.site_id) & (Place.id == CircuitPlace.place_id),
            )
        )
    }
    primed = {
        row.circuit_id: row.valid_from
        for row in session.execute(_open(Prime, block, cut, Prime.valid_from))
    }
    left = {circuit_id for circuit_id, row in phases.items() if row.phase == "transferred out"}
    runs: dict[UUID, list[OnRun]] = {}
    on_run = (
        select(
            CircuitOnRun.circuit_id,
            CircuitOnRun.run_id,
            Run.number,
            CircuitOnRun.valid_from,
            CircuitOnRun.flow_from,
            CircuitOnRun.valid_to,
            CircuitOnRun.disputed,
        )
        .join(Run, (Run.site_id == CircuitOnRun.site_id) & (Run.id == CircuitOnRun.run_id))
        .where(
            CircuitOnRun.site_id.in_(cut.sites),
            CircuitOnRun.circuit_id.in_(block),
            believed_at(CircuitOnRun, cut.number),
        )
        .order_by(CircuitOnRun.valid_from, CircuitOnRun.recorded_no)
    )
    for row in session.execute(on_run):
        ended_with = row.circuit_id in left and row.valid_to is not None
        runs.setdefault(row.circuit_id, []).append(
            OnRun(
                run_id=row.run_id,
                run=row.number,
                taken_at=row.valid_from,
                flow_from=row.flow_from,
                end=row.valid_to,
                disputed=row.disputed,
                transferred=ended_with and row.valid_to == phases[row.circuit_id].valid_from,
            )
        )
    found = {}
    here = select(Circuit).where(Circuit.site_id.in_(cut.sites), Circuit.id.in_(block))
    for circuit in session.scalars(here):
        phase = phases.get(circuit.id)
        found[circuit.id] = CircuitSeen(
            id=circuit.id,
            site_id=circuit.site_id,
            number=circuit.number,
            circuit_type=circuit.circuit_type,
            recorded=circuit.contents == "recorded",
            begun_at=circuit.begun_at,
            primed_at=primed.get(circuit.id),
            phase=phase.phase if phase else "",
            phase_since=phase.valid_from if phase else None,
            reason=phase.reason if phase else "",
            place=places.get(circuit.id, ""),
            on_runs=tuple(runs.get(circuit.id, ())),
        )
    return found


def _open(
    link: type[Link],
    block: Sequence[UUID],
    cut: Cut,
    *columns: ColumnElement[Any] | InstrumentedAttribute[Any],
) -> Select[Any]:
    circuit_id = link.circuit_id  # type: ignore[attr-defined]
    return (
        select(circuit_id, *columns)
        .where(
            link.site_id.in_(cut.sites),
            circuit_id.in_(block),
            link.valid_to.is_(None),
            believed_at(link, cut.number),
        )
        .order_by(link.recorded_no)
    )


def _blocks(ids: Sequence[UUID]) -> Iterable[Sequence[UUID]]:
    for start in range(0, len(ids), BLOCK):
        yield ids[start : start + BLOCK]
