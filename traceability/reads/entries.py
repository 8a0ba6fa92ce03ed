"""One entry of the ledger: what it said, what is believed of it now, and who set it right."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.domain.corrections import OF_PART, pieces_told
from traceability.domain.events import Recorded
from traceability.reads.happenings import Happening, told
from traceability.storage.circuits import Circuit, Signature
from traceability.storage.corrections import Correction
from traceability.storage.entries import entry, now_said, spoken_of, subjects_of
from traceability.storage.items import Product
from traceability.storage.kept_apart import KeptApart
from traceability.storage.ledger import LedgerHead, number_at
from traceability.storage.lookup import sheet_of
from traceability.storage.runs import Run
from traceability.storage.steps import said_after


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceFacts:
    """A piece that an entry put in, as it is believed now."""

    part: str
    place: str
    ordinal: int
    kind: str
    state: str
    product_id: str
    name: str
    lot: str
    serial: str
    expiry: str
    first_lot: str
    """As the entry itself said it, before any correction; the same where none was made."""


@dataclass(frozen=True, slots=True, kw_only=True)
class EntryFacts:
    """An entry, with all that was said of it later."""

    told: Happening
    of: Happening
    """What it comes down to: itself, or the entry that this correction is about."""
    is_void: bool
    at: datetime
    """When it happened, as believed now."""
    note: str
    circuit: str
    """Number of the circuit it is about; empty for a run's own entries."""
    runs: tuple[str, ...]
    run: str
    """The run it names, as believed now."""
    pieces: tuple[PieceFacts, ...]
    choices: tuple[tuple[str, str], ...]
    """Products that fit the pieces' kind: id, and name with maker."""
    corrections: tuple[Happening, ...]
    """Newest first."""


def entry_facts(session: Session, site_id: UUID, number: int) -> EntryFacts | None:
    """Return the entry of that number; None where it has no number or is about no circuit or run.

    Lists of people, places and products have pages of their own.
    """
    event = entry(session, site_id, number)
    if event is None:
        return None
    about = subjects_of(session, event)
    if not (about.circuits or about.runs or about.merges):
        return None
    root, standing = spoken_of(session, event), now_said(session, event)
    now = now_said(session, root) or root
    circuits = [session.get_one(Circuit, (site_id, each)) for each in about.circuits]
    runs = [session.get_one(Run, (site_id, each)) for each in about.runs]
    run_id = now.key_or_none("run")
    run = run_id and session.get(Run, (site_id, run_id))
    pieces = _pieces(session, circuits[0] if circuits else None, root, now)
    said = select(Correction.recorded_no).filter_by(site_id=site_id, of_no=number)
    (of,) = told(session, site_id, {root.number})
    (this,) = told(session, site_id, {number})
    return EntryFacts(
        told=this,
        of=of,
        is_void=standing is None,
        at=now.happened_at,
        note=_note(session, event),
        circuit=circuits[0].number if circuits else "",
        runs=tuple(each.number for each in runs),
        run=run.number if run else "",
        pieces=pieces,
        choices=_choices(session, site_id, {each.kind for each in pieces}),
        corrections=tuple(told(session, site_id, set(session.scalars(said)))),
    )


def _note(session: Session, event: Recorded) -> str:
    note = event.body.get("note")
    kept_id = event.inner(note).key_or_none("kept") if isinstance(note, Mapping) else None
    kept = session.get(KeptApart, kept_id) if kept_id else None
    return (kept.text or "") if kept else ""


def _pieces(
    session: Session, circuit: Circuit | None, root: Recorded, now: Recorded
) -> tuple[PieceFacts, ...]:
    if circuit is None or root.kind not in OF_PART:
        return ()
    sheet = sheet_of(session, circuit.site_id, circuit.circuit_type, circuit.sheet_version)
    names = {slot.id: slot.name for slot in sheet.slots} if sheet else {}
    first = {row.get("part"): row for row in pieces_told(root)}
    found = []
    for row in pieces_told(now):
        inner = now.inner(row)
        product_id = inner.key_or_none("product")
        product = product_id and session.get(Product, (circuit.site_id, product_id))
        found.append(
            PieceFacts(
                part=inner.text("part"),
                place=names.get(inner.text("slot"), inner.text("slot")),
                ordinal=inner.number_of("ordinal"),
                kind=inner.text("kind"),
                state=inner.text("state"),
                product_id=str(product_id or ""),
                name=(product.substance or product.name) if product else "",
                lot=inner.text_or_none("lot") or "",
                serial=inner.text_or_none("serial") or "",
                expiry=inner.text_or_none("expiry") or "",
                first_lot=str(first.get(row.get("part"), {}).get("lot") or ""),
            )
        )
    return tuple(found)


def _choices(session: Session, site_id: UUID, kinds: set[str]) -> tuple[tuple[str, str], ...]:
    rows = session.scalars(
        select(Product)
        .where(Product.site_id == site_id, Product.kind.in_(sorted(kinds)))
        .order_by(Product.name, Product.maker, Product.id)
    )
    return tuple(
        (str(each.id), ", ".join(word for word in (_called(each), each.maker) if word))
        for each in rows
    )


def _called(product: Product) -> str:
    number = f" {product.item_number}" if product.item_number else ""
    return f"{product.substance or product.name}{number}"


def changed_after_signing(
    session: Session, site_id: UUID, circuit_id: UUID, as_of_no: int | None = None
) -> int | None:
    """Return the number of the newest change that came after a signature; None if none did.

    A change is a correction, or a step of the procedure that was said anew or taken back.
    """
    first = select(Signature.recorded_no).filter_by(site_id=site_id, circuit_id=circuit_id)
    signed = min(session.scalars(first), default=None)
    if signed is None:
        return None
    rows = select(Correction.recorded_no).filter_by(site_id=site_id, subject_id=circuit_id)
    changes = [*session.scalars(rows), *said_after(session, site_id, circuit_id, signed)]
    later = [
        number for number in changes if number > signed and (as_of_no is None or number <= as_of_no)
    ]
    return max(later, default=None)


def number_then(session: Session, site_id: UUID, moment: datetime) -> int:
    """Return the last entry at or before a moment; 0 before the first."""
    return number_at(session, site_id, moment)


def newest_number(session: Session, site_id: UUID) -> int:
    """Return the number of the last entry."""
    return session.get_one(LedgerHead, site_id).number


def recorded_at(session: Session, site_id: UUID, number: int) -> datetime | None:
    """Return when an entry was made; None if there is none of that number."""
    event = entry(session, site_id, number)
    return event.recorded_at if event else None
