"""All that is on record of one lot, for the drill: receipts, shelves, ways out, and every use.

Each question starts from the lot or from what it led to, so its cost grows with the lot's own rows.
"""

from collections.abc import Iterator
from datetime import timedelta
from typing import Final
from uuid import UUID

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from traceability.domain.at_the_run import OFF_THE_SHEET
from traceability.domain.drills.facts import (
    CircuitLife,
    LotRecord,
    OnShelf,
    Received,
    RunLife,
    Use,
)
from traceability.domain.events import Kind
from traceability.domain.parts import Known
from traceability.domain.sheets import Slot
from traceability.domain.stock_needs import comes_with_the_pack
from traceability.reads.circuit_lives import Lives, patients_known
from traceability.storage.circuits import Part
from traceability.storage.items import Lot, Product
from traceability.storage.run_extras import RunPart
from traceability.storage.runs import Run
from traceability.storage.site import Place
from traceability.storage.stock import StockBook, StockChange, StockLevel, StockReceipt

FIRST_COUNT_LASTS: Final = timedelta(hours=24)
"""So long may the first count of a product take. Common practice, no source."""


def lot_record(session: Session, site_id: UUID, lot_id: UUID) -> LotRecord | None:
    """Return what is on record of the lot now; None where no such lot was ever named."""
    lot = session.get(Lot, (site_id, lot_id))
    if lot is None:
        return None
    product = session.get_one(Product, (site_id, lot.product_id))
    book = session.get(StockBook, (site_id, product.id))
    return LotRecord(
        lot_id=lot.id,
        text=lot.text,
        product_id=product.id,
        product=product.name,
        counted=product.counted,
        booked_from=book.begun_at if book else None,
        received=(*_received(session, lot), *_opening(session, lot, book)),
        shelves=_shelves(session, lot),
        taken_out=_taken_out(session, lot),
        uses=(*_in_circuits(session, lot), *_inpatients_known(session, lot)),
    )


def _received(session: Session, lot: Lot) -> tuple[Received, ...]:
    rows = select(StockReceipt.valid_from, StockReceipt.quantity).where(
        StockReceipt.site_id == lot.site_id,
        StockReceipt.product_id == lot.product_id,
        StockReceipt.lot_id == lot.id,
        StockReceipt.superseded_no.is_(None),
    )
    return tuple(Received(at=at, quantity=quantity) for at, quantity in session.execute(rows))


def _opening(session: Session, lot: Lot, book: StockBook | None) -> Iterator[Received]:
    """Yield what a count found when the book of the product began: it stands for a receipt.

    What was there before the book can have no receipt in it. A count that finds more later is an
    open point.
    """
    if book is None:
        return
    rows = select(StockChange.at, StockChange.quantity).where(
        StockChange.lot_id == lot.id, StockChange.why == Kind.STOCK_COUNTED
    )
    until = book.begun_at + FIRST_COUNT_LASTS
    found = [(at, quantity) for at, quantity in session.execute(rows) if at <= until]
    # In sum: a count in one place settles what was owed elsewhere, and a slip is counted again.
    quantity = sum(quantity for _, quantity in found)
    if quantity > 0:
        yield Received(at=min(at for at, _ in found), quantity=quantity)


def _shelves(session: Session, lot: Lot) -> tuple[OnShelf, ...]:
    rows = (
        select(Place.name, StockLevel.quantity, StockLevel.counted_at)
        .outerjoin(Place, (Place.site_id == StockLevel.site_id) & (Place.id == StockLevel.place_id))
        .where(StockLevel.lot_id == lot.id, StockLevel.product_id == lot.product_id)
        .order_by(Place.name)
    )
    return tuple(
        OnShelf(place=name or "", quantity=quantity, counted_at=counted_at)
        for name, quantity, counted_at in session.execute(rows)
        if quantity
    )


def _taken_out(session: Session, lot: Lot) -> int:
    total = select(func.sum(StockChange.quantity)).where(
        StockChange.lot_id == lot.id, StockChange.why == Kind.STOCK_OUT
    )
    return -int(session.scalar(total) or 0)


def _in_circuits(session: Session, lot: Lot) -> Iterator[Use]:
    rows = select(Part).where(Part.lot_id == lot.id, Part.superseded_no.is_(None))
    parts = [part for part in session.scalars(rows) if part.site_id == lot.site_id]
    lives = Lives(session, lot.site_id)
    lives.load(part.circuit_id for part in parts)
    for part in parts:
        sheet, circuit = lives.sheet(part.circuit_id), lives.found[part.circuit_id]
        slot = sheet.slot(part.slot) if sheet else None
        yield Use(
            piece=part.part_id,
            place=slot.name if slot else OFF_THE_SHEET.get(part.slot, part.slot),
            at=part.valid_from,
            out_at=part.valid_to,
            from_shelf=_from_shelf(part, slot, circuit),
            leaves=part.leaves,
            expiry_known=part.expiry is not None or lot.expiry is not None,
            disputed=part.disputed,
            entry=part.recorded_no,
            circuit=circuit,
            run=None,
        )


def _from_shelf(part: Part, slot: Slot | None, circuit: CircuitLife) -> bool:
    """Tell whether a receipt is to be expected; as the stock book takes it, and a second claim."""
    if part.known == Known.STATED or part.disputed:
        return False
    primed_at = circuit.primed_at
    came_later = primed_at is not None and part.valid_from > primed_at  # by a swap, from the shelf
    return came_later or slot is None or not comes_with_the_pack(slot)


def _inpatients_known(session: Session, lot: Lot) -> Iterator[Use]:
    rows = (
        select(RunPart, Run)
        .join(Run, (Run.site_id == RunPart.site_id) & (Run.id == RunPart.run_id))
        .where(RunPart.lot_id == lot.id, RunPart.superseded_no.is_(None))
    )
    found = [(part, run) for part, run in session.execute(rows) if part.site_id == lot.site_id]
    patients = patients_known(session, lot.site_id, {run.id for _, run in found})
    for part, run in found:
        yield Use(
            piece=part.part_id,
            place=part.body_site,
            at=part.valid_from,
            out_at=part.valid_to,
            from_shelf=not part.disputed,
            leaves=False,
            expiry_known=part.expiry is not None or lot.expiry is not None,
            disputed=part.disputed,
            entry=part.recorded_no,
            circuit=None,
            run=RunLife(
                number=run.number,
                taken_at=part.valid_from,
                flow_from=part.valid_from,
                off_at=part.valid_to,
                over=run.ended_at is not None,
                patient=patients[run.id],
            ),
        )
