"""One lot: when it was first named here, what holds it, and which circuits had it by mistake."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from sqlalchemy import Row, select
from sqlalchemy.orm import Session

from traceability.domain.keys import lot_key
from traceability.reads.happenings import Happening, lot_happenings
from traceability.storage.circuits import Circuit, Part
from traceability.storage.holds import Hold
from traceability.storage.items import Lot


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldFacts:
    """A hold on the lot, or on all of its product."""

    subject: str
    reason: str
    notice: str
    from_: datetime
    until: datetime | None


@dataclass(frozen=True, slots=True, kw_only=True)
class OnceThere:
    """The lot stood in a circuit's record and does so no more: it was mistyped, or undone."""

    circuit: str
    from_: datetime
    corrected_no: int
    """Number of the entry since which that is no longer believed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LotFacts:
    """A lot, without circuits and runs: those are a recall's to answer."""

    text: str
    expiry: str
    holds: tuple[HeldFacts, ...]
    once_there: tuple[OnceThere, ...]
    told: tuple[Happening, ...]
    """Newest first."""
    circuits: Mapping[str, str]
    """Number by id, of all circuits whose record ever held it."""


def lot_facts(session: Session, site_id: UUID, product_id: UUID, text: str) -> LotFacts | None:
    """Return the lot of that very text; None where nothing here ever named it."""
    lot = session.get(Lot, (site_id, lot_key(product_id, text)))
    if lot is None:
        return None
    rows = session.execute(
        select(Part, Circuit.number)
        .join(Circuit, (Circuit.site_id == Part.site_id) & (Circuit.id == Part.circuit_id))
        .where(Part.site_id == site_id, Part.lot_id == lot.id)
        .order_by(Part.recorded_no, Part.line)
    ).all()
    holds = session.scalars(
        select(Hold)
        .where(
            Hold.site_id == site_id,
            Hold.subject_id.in_([lot.id, product_id]),
            Hold.superseded_no.is_(None),
        )
        .order_by(Hold.valid_from, Hold.recorded_no + 0)
    )
    return LotFacts(
        text=lot.text,
        expiry=lot.expiry.isoformat() if lot.expiry else "",
        holds=tuple(
            HeldFacts(
                subject=each.subject,
                reason=each.reason,
                notice=each.notice,
                from_=each.valid_from,
                until=each.valid_to,
            )
            for each in holds
        ),
        once_there=tuple(_once_there(rows)),
        told=tuple(lot_happenings(session, site_id, lot)),
        circuits={str(part.circuit_id): number for part, number in rows},
    )


def _once_there(rows: Sequence[Row[Part, str]]) -> list[OnceThere]:
    # A piece keeps its id when its row is written again: what still stands is no mistake.
    standing = {part.part_id for part, _ in rows if part.superseded_no is None}
    last = {part.part_id: (part, number) for part, number in rows}
    return [
        OnceThere(circuit=number, from_=part.valid_from, corrected_no=part.superseded_no)
        for part, number in last.values()
        if part.part_id not in standing and part.superseded_no is not None
    ]
