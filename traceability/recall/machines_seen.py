"""Machines that are asked for or may be, with the runs that each served, itself or by a circuit."""

from collections.abc import Iterator
from datetime import datetime
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.domain.at_the_run import EQUIPMENT_KINDS
from traceability.domain.exposure import exposed
from traceability.domain.parts import PartState
from traceability.recall.circuits_seen import CircuitSeen, circuits
from traceability.recall.cut import Cut
from traceability.recall.judge_parts import gap_reasons
from traceability.recall.pieces import Judged, PieceSeen
from traceability.recall.question import Question
from traceability.recall.sort_shelves import stretch
from traceability.storage.base import believed_at
from traceability.storage.equipment import EquipmentUse
from traceability.storage.runs import Run


def judged_machines(
    session: Session, question: Question, kinds: frozenset[str], cut: Cut
) -> Iterator[Judged]:
    """Yield the machines that are asked for or may be, once for each run that they served."""
    asked = sorted(set(EQUIPMENT_KINDS) & kinds) if kinds else list(EQUIPMENT_KINDS)
    if not asked:
        return
    products = [product.id for product in question.products]
    rows = select(EquipmentUse).where(
        EquipmentUse.site_id.in_(cut.sites),
        EquipmentUse.kind.in_(asked),
        EquipmentUse.none_used.is_(False),
        EquipmentUse.product_id.in_(products) | EquipmentUse.product_id.is_(None),
        believed_at(EquipmentUse, cut.number),
    )
    uses = list(session.scalars(rows))
    seen = circuits(session, {use.circuit_id for use in uses if use.circuit_id}, cut)
    for use in uses:
        for piece in _served(session, use, seen):
            reasons = _machine_reasons(piece, question)
            if reasons is not None:
                yield piece, reasons


def _machine_reasons(piece: PieceSeen, question: Question) -> frozenset[str] | None:
    """Return what leaves open whether the machine is asked for; None: it is another one."""
    if any(
        (unit.product.id, unit.serial) == (piece.product_id, piece.serial)
        for unit in question.units
    ):
        return frozenset()
    reasons = gap_reasons(piece, question)
    return None if reasons is None else frozenset(reasons)


def _served(
    session: Session, use: EquipmentUse, seen: dict[UUID, CircuitSeen]
) -> Iterator[PieceSeen]:
    if use.run_id is not None:
        run = session.get_one(Run, (use.site_id, use.run_id))
        yield _machine(use, run.id, run.number, "", use.valid_from, use.valid_to, use.disputed)
        return
    circuit = seen.get(use.circuit_id) if use.circuit_id else None
    number = circuit.number if circuit else ""
    met = False
    for claim in circuit.on_runs if circuit and not use.none_used else ():
        since = claim.flow_from or claim.taken_at
        for both in exposed(stretch(use.valid_from, use.valid_to), stretch(since, claim.end)):
            met = True
            doubt = use.disputed or claim.disputed
            yield _machine(use, claim.run_id, claim.run, number, both.start, both.end, doubt)
    if not met:
        yield _machine(use, None, "", number, use.valid_from, use.valid_to, use.disputed)


def _machine(
    use: EquipmentUse,
    run_id: UUID | None,
    run: str,
    circuit: str,
    start: datetime,
    end: datetime | None,
    disputed: bool,
) -> PieceSeen:
    return PieceSeen(
        run_id=run_id,
        run=run,
        circuit=circuit,
        machine=True,
        kind=use.kind,
        state=PartState.RECORDED if use.serial else PartState.LOT_NOT_RECORDED,
        known="",
        product_id=use.product_id,
        lot_id=None,
        lot=None,
        serial=use.serial,
        body_site="",
        start=start,
        end=end,
        disputed=disputed,
        recorded_no=use.recorded_no,
        line=use.line,
    )
