"""A plain answer to scopes that name lots, for tests of what is done with answers.

It reads captured lots and gaps of the same kind, and infers nothing: the rule of the four shelves
is tested elsewhere.
"""

from collections.abc import Iterable, Sequence
from datetime import datetime
from uuid import UUID

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from traceability.domain.exposure import Shelf, strongest
from traceability.domain.notice_scope import Said, Scope
from traceability.domain.spans import Span
from traceability.recall.answered import (
    Answer,
    CircuitRow,
    Coverage,
    MetRow,
    PartRow,
    PatientRow,
    StockRow,
)
from traceability.recall.cut import Cut, cut_at
from traceability.storage.base import believed_at
from traceability.storage.circuits import Circuit, Part
from traceability.storage.holds import Hold
from traceability.storage.items import Lot, Packaging
from traceability.storage.patients import known_as, patient_of_run
from traceability.storage.runs import CircuitOnRun, Run
from traceability.storage.stock import StockChange


def by_lot(session: Session, scope: Scope, *, now: datetime, as_of_no: int | None = None) -> Answer:
    """Return what captured lots and gaps say."""
    cut = cut_at(session, as_of_no)
    (site_id,) = cut.sites
    lots = {text for c in scope.clauses for t in c.tests if t.kind is Said.LOTS for text in t.texts}
    codes = [ref.identifier for c in scope.clauses for ref in c.products]
    products = set(
        session.scalars(select(Packaging.product_id).where(Packaging.identifier.in_(codes)))
    )
    rows = session.execute(
        select(Part, Lot.text)
        .outerjoin(Lot, (Lot.site_id == Part.site_id) & (Lot.id == Part.lot_id))
        .where(
            Part.site_id == site_id,
            Part.product_id.in_(products),
            believed_at(Part, None if cut.latest else cut.number),
        )
        .order_by(Part.recorded_no, Part.line)
    ).all()
    parts: dict[UUID, list[PartRow]] = {}
    for part, text in rows:
        if text is None or text in lots:
            parts.setdefault(part.circuit_id, []).append(_part(part, text))
    circuits = [_circuit(session, site_id, each, found) for each, found in parts.items()]
    total = session.scalar(select(func.count()).select_from(Circuit)) or 0
    patients = _patients(session, cut, site_id, circuits)
    stock = tuple(_stock(session, cut, site_id, products, lots))
    return Answer(
        scope=scope,
        products=(),
        kinds=frozenset(),
        cut=cut,
        asked_at=now,
        circuits=tuple(circuits),
        patients=tuple(patients),
        stock=stock,
        stock_left={(row.product_id, row.lot or ""): (0, row.quantity) for row in stock},
        excluded=total - len(circuits),
        runs_excluded=0,
        coverage=Coverage(
            circuits=total,
            complete=total,
            with_gap=0,
            unknown=0,
            runs=session.scalar(select(func.count()).select_from(Run)) or 0,
            parts=len(rows),
            parts_with_lot=sum(text is not None for _, text in rows),
            first_at=session.scalar(select(func.min(Circuit.begun_at))),
        ),
        contradicted=(),
        not_narrowed=(),
    )


def _part(part: Part, text: str | None) -> PartRow:
    return PartRow(
        part_id=part.part_id,
        slot=part.slot,
        ordinal=part.ordinal,
        kind=part.kind,
        product_id=part.product_id,
        lot=text,
        serial=part.serial,
        known=part.known,
        state=part.state,
        start=part.valid_from,
        end=part.valid_to,
        shelf=Shelf.CONFIRMED if text else Shelf.CANNOT_BE_EXCLUDED,
        reasons=() if text else ("lot_not_recorded",),
    )


def _links(session: Session, site_id: UUID, circuit_id: UUID) -> Sequence[CircuitOnRun]:
    rows = select(CircuitOnRun).filter_by(
        site_id=site_id, circuit_id=circuit_id, superseded_no=None
    )
    return session.scalars(rows.order_by(CircuitOnRun.valid_from)).all()


def _circuit(session: Session, site_id: UUID, circuit_id: UUID, found: list[PartRow]) -> CircuitRow:
    circuit = session.get_one(Circuit, (site_id, circuit_id))
    links = _links(session, site_id, circuit_id)
    return CircuitRow(
        site_id=site_id,
        circuit_id=circuit_id,
        number=circuit.number,
        shelf=strongest(part.shelf for part in found),
        reasons=tuple(sorted({code for part in found for code in part.reasons})),
        parts=tuple(found),
        met=tuple(map(_met, links)),
        going_on=any(each.valid_to is None for each in links),
        begun_at=circuit.begun_at,
    )


def _met(link: CircuitOnRun) -> MetRow:
    return MetRow(
        run_id=link.run_id,
        run="",
        taken_at=link.valid_from,
        flow_from=link.flow_from,
        end=link.valid_to,
        disputed=link.disputed,
        transferred=False,
        shelf=Shelf.CONFIRMED,
        reasons=(),
        sure=(),
        possible=(),
    )


def _patients(
    session: Session, cut: Cut, site_id: UUID, circuits: Iterable[CircuitRow]
) -> Iterable[PatientRow]:
    for row in circuits:
        for link in _links(session, site_id, row.circuit_id):
            given = patient_of_run(session, site_id, link.run_id)
            end = link.valid_to
            possible = (Span(start=link.valid_from, end=end),) if end != link.valid_from else ()
            sure = (Span(start=link.flow_from, end=end),) if link.flow_from else ()
            yield PatientRow(
                site_id=site_id,
                patient_id=given and known_as(session, cut.sites, given),
                run_ids=(link.run_id,),
                runs=(session.get_one(Run, (site_id, link.run_id)).number,),
                circuit_ids=(row.circuit_id,),
                shelf=row.shelf,
                reasons=row.reasons,
                parts=(),
                sure=sure if row.shelf is Shelf.CONFIRMED else (),
                possible=possible,
                continues_beyond_our_record=False,
                going_on=end is None,
            )


def _stock(
    session: Session, cut: Cut, site_id: UUID, products: set[UUID], lots: set[str]
) -> Iterable[StockRow]:
    rows = session.execute(
        select(
            StockChange.product_id,
            StockChange.lot_id,
            StockChange.place_id,
            Lot.text,
            func.sum(StockChange.quantity),
        )
        .join(Lot, (Lot.site_id == StockChange.site_id) & (Lot.id == StockChange.lot_id))
        .where(
            StockChange.product_id.in_(products),
            Lot.text.in_(lots),
            StockChange.recorded_no <= cut.number,
        )
        .group_by(StockChange.product_id, StockChange.lot_id, StockChange.place_id, Lot.text)
    )
    held = set(session.scalars(select(Hold.subject_id).filter_by(superseded_no=None)))
    for product_id, lot_id, place_id, text, quantity in rows:
        if quantity:
            yield StockRow(
                site_id=site_id,
                product_id=product_id,
                lot_id=lot_id,
                lot=text,
                place_id=place_id,
                quantity=quantity,
                shelf=Shelf.CONFIRMED,
                reasons=(),
                on_hold=lot_id in held,
            )
