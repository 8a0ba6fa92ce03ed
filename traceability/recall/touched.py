"""Which circuits and runs a thing touched, as of a ledger number, each way through an index.

Only ids come back, newest first and bounded: what is shown of them is read for a page at a time.
"""

import json
from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Final
from uuid import UUID

from sqlalchemy import ColumnElement, Select, TextClause, select
from sqlalchemy.orm import Session

from traceability.domain.events import Kind
from traceability.domain.trace import Sort
from traceability.recall.asked_about import COUNT_MOST, Subject
from traceability.recall.cut import Cut
from traceability.recall.record import blocks, kinds_with_gaps
from traceability.recall.touched_then import circuits_begun_between, meets, on_runs_between
from traceability.storage.base import believed_at
from traceability.storage.circuits import LOT_UNKNOWN, CircuitPlace, Part, Signature
from traceability.storage.equipment import EquipmentUse
from traceability.storage.items import Lot
from traceability.storage.ledger import LedgerEvent
from traceability.storage.run_extras import HAS_LOT, RunPart
from traceability.storage.runs import CircuitOnRun, RunPatient

TAKES: Final = 500
"""Takes of one person that are looked through; there is no row that names who took."""

LOTS: Final = 100
"""Lots of one product that are looked through, the newest; of the others it says that there are."""


def circuit_ids(session: Session, subject: Subject, cut: Cut) -> list[UUID]:
    """Return the circuits that a thing touched, newest first; `COUNT_MOST` + 1 at most."""
    found: list[UUID] = []
    match subject.node.sort:
        case Sort.LOT | Sort.UNIT | Sort.PRODUCT:
            found = _with_parts(session, subject, cut)
        case Sort.CIRCUIT:
            found = list(subject.ids)
        case Sort.RUN:
            found = _of_runs(session, subject.ids, cut)
        case Sort.PATIENT:
            found = _of_runs(session, runs_of_patients(session, subject.ids, cut), cut)
        case Sort.MACHINE:
            found = _served(session, subject, cut)
        case Sort.PLACE:
            found = _stood_in(session, subject, cut)
        case Sort.PERSON:
            found = [*_signed(session, subject, cut), *_taken_by(session, subject, cut)]
        case Sort.SPAN:
            for start, end in (subject.span,) if subject.span else ():
                found = circuits_begun_between(session, start, end, cut)
                found += [link.circuit_id for link in on_runs_between(session, start, end, cut)]
        case _:
            pass
    # Ids are made in order of time; where they are not, the order is at least always the same.
    return sorted(set(found), reverse=True)[: COUNT_MOST + 1]


def run_ids(
    session: Session, subject: Subject, circuits: Sequence[UUID], cut: Cut
) -> tuple[list[UUID], list[UUID], list[datetime]]:
    """Return the runs a thing touched itself, those its circuits were on, and when each began."""
    own: list[UUID] = []
    match subject.node.sort:
        case Sort.LOT | Sort.UNIT | Sort.PRODUCT:
            own = [row.run_id for row in run_parts_of(session, subject, cut)]
        case Sort.RUN:
            own = list(subject.ids)
        case Sort.PATIENT:
            own = runs_of_patients(session, subject.ids, cut)
        case Sort.MACHINE:
            own = [use.run_id for use in uses_of(session, subject, cut) if use.run_id]
        case _:
            pass
    through: set[UUID] = set()
    taken: list[datetime] = []
    for block in blocks(circuits):
        rows = select(CircuitOnRun.run_id, CircuitOnRun.valid_from).where(
            CircuitOnRun.site_id.in_(cut.sites),
            CircuitOnRun.circuit_id.in_(block),
            believed_at(CircuitOnRun, cut.number),
        )
        for row in session.execute(rows):
            through.add(row.run_id)
            taken.append(row.valid_from)
    return sorted(set(own), reverse=True), sorted(through, reverse=True), taken


def has_more_lots(session: Session, subject: Subject, cut: Cut) -> bool:
    """Tell whether a product has lots beyond those that are looked through."""
    if subject.node.sort is not Sort.PRODUCT:
        return False
    return len(lots_of_product(session, subject.ids, cut)) == LOTS


def lots_of_product(session: Session, product_ids: Sequence[UUID], cut: Cut) -> list[UUID]:
    """Return the newest lots of a product, `LOTS` at most."""
    rows = (
        select(Lot.id)
        .where(Lot.site_id.in_(cut.sites), Lot.product_id.in_(product_ids))
        .where(Lot.first_no <= cut.number)
        .order_by(Lot.first_no.desc(), Lot.id)
        .limit(LOTS)
    )
    return list(session.scalars(rows))


def _with_parts(session: Session, subject: Subject, cut: Cut) -> list[UUID]:
    if subject.node.sort is Sort.UNIT:
        return list(session.scalars(_circuits(cut, Part.unit_id.in_(subject.ids))))
    if subject.node.sort is Sort.LOT:
        return list(session.scalars(_circuits(cut, Part.lot_id.in_(subject.ids))))
    found: list[UUID] = []
    for block in blocks(lots_of_product(session, subject.ids, cut)):
        found += session.scalars(_circuits(cut, Part.lot_id.in_(block)))
    kinds = kinds_with_gaps(session)
    if kinds:
        gaps = _circuits(cut, LOT_UNKNOWN, Part.kind.in_(kinds), Part.product_id.in_(subject.ids))
        found += session.scalars(gaps)
    return found


def _circuits(cut: Cut, *where: ColumnElement[bool] | TextClause) -> Select[UUID]:
    return (
        select(Part.circuit_id)
        .where(*where, believed_at(Part, cut.number))
        .distinct()
        .order_by(Part.circuit_id.desc())
        .limit(COUNT_MOST + 1)
    )


def run_parts_of(session: Session, subject: Subject, cut: Cut) -> list[RunPart]:
    """Return the run parts of a lot, a piece, or a product's newest lots."""
    if subject.node.sort is Sort.UNIT:
        which: list[ColumnElement[bool] | TextClause] = [RunPart.unit_id.in_(subject.ids)]
    elif subject.node.sort is Sort.LOT:
        which = [HAS_LOT, RunPart.lot_id.in_(subject.ids)]
    else:
        which = [HAS_LOT, RunPart.lot_id.in_(lots_of_product(session, subject.ids, cut))]
    rows = select(RunPart).where(*which, believed_at(RunPart, cut.number)).limit(COUNT_MOST)
    return list(session.scalars(rows))


def _of_runs(session: Session, runs: Iterable[UUID], cut: Cut) -> list[UUID]:
    found: list[UUID] = []
    for block in blocks(list(runs)):
        rows = select(CircuitOnRun.circuit_id).where(
            CircuitOnRun.site_id.in_(cut.sites),
            CircuitOnRun.run_id.in_(block),
            believed_at(CircuitOnRun, cut.number),
        )
        found += session.scalars(rows)
    return found


def runs_of_patients(session: Session, patients: Sequence[UUID], cut: Cut) -> list[UUID]:
    """Return the runs that are believed to be these patients' own."""
    found: list[UUID] = []
    for block in blocks(patients):
        rows = select(RunPatient.run_id).where(
            RunPatient.site_id.in_(cut.sites),
            RunPatient.patient_id.in_(block),
            RunPatient.valid_to.is_(None),
            believed_at(RunPatient, cut.number),
        )
        found += session.scalars(rows)
    return sorted(set(found), reverse=True)


def uses_of(session: Session, subject: Subject, cut: Cut) -> list[EquipmentUse]:
    """Return what a machine served, by its key in the register or by its serial."""
    rows = select(EquipmentUse).where(
        EquipmentUse.site_id.in_(cut.sites),
        EquipmentUse.none_used.is_(False),
        believed_at(EquipmentUse, cut.number),
    )
    if subject.ids:
        rows = rows.where(EquipmentUse.equipment_id.in_(subject.ids))
    else:
        rows = rows.where(
            EquipmentUse.serial == subject.node.label,
            EquipmentUse.equipment_id.is_(None),
            EquipmentUse.kind == subject.kind,
        )
    return list(session.scalars(rows.order_by(EquipmentUse.valid_from.desc()).limit(COUNT_MOST)))


def _served(session: Session, subject: Subject, cut: Cut) -> list[UUID]:
    found: list[UUID] = []
    uses = uses_of(session, subject, cut)
    found += [use.circuit_id for use in uses if use.circuit_id]
    of_run: dict[UUID, list[EquipmentUse]] = {}
    for use in uses:
        if use.run_id:
            of_run.setdefault(use.run_id, []).append(use)
    for block in blocks(list(of_run)):
        rows = select(
            CircuitOnRun.circuit_id,
            CircuitOnRun.run_id,
            CircuitOnRun.valid_from,
            CircuitOnRun.valid_to,
        ).where(
            CircuitOnRun.site_id.in_(cut.sites),
            CircuitOnRun.run_id.in_(block),
            believed_at(CircuitOnRun, cut.number),
        )
        for row in session.execute(rows):
            if any(
                meets(row.valid_from, row.valid_to, use.valid_from, use.valid_to)
                for use in of_run[row.run_id]
            ):
                found.append(row.circuit_id)
    return found


def _stood_in(session: Session, subject: Subject, cut: Cut) -> list[UUID]:
    rows = (
        select(CircuitPlace.circuit_id)
        .where(
            CircuitPlace.site_id.in_(cut.sites),
            CircuitPlace.place_id.in_(subject.ids),
            believed_at(CircuitPlace, cut.number),
        )
        .order_by(CircuitPlace.valid_from.desc())
        .limit(COUNT_MOST + 1)
    )
    return list(session.scalars(rows))


def _signed(session: Session, subject: Subject, cut: Cut) -> list[UUID]:
    rows = (
        select(Signature.circuit_id)
        .where(
            Signature.site_id.in_(cut.sites),
            Signature.person_id.in_(subject.ids),
            believed_at(Signature, cut.number),
        )
        .order_by(Signature.recorded_no.desc())
        .limit(COUNT_MOST + 1)
    )
    return list(session.scalars(rows))


def _taken_by(session: Session, subject: Subject, cut: Cut) -> list[UUID]:
    rows = (
        select(LedgerEvent.body)
        .where(
            LedgerEvent.site_id.in_(cut.sites),
            LedgerEvent.actor_id.in_(subject.ids),
            LedgerEvent.kind == Kind.CIRCUIT_TAKEN,
            LedgerEvent.number <= cut.number,
        )
        .order_by(LedgerEvent.number.desc())
        .limit(TAKES)
    )
    return [UUID(json.loads(body)["circuit"]) for body in session.scalars(rows)]
