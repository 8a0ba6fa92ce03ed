"""What was done on a prime after a number of the ledger, and by which device."""

from dataclasses import dataclass
from uuid import UUID

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from traceability.storage.circuits import Circuit
from traceability.storage.ledger import LedgerEvent
from traceability.storage.people import Device, Person
from traceability.storage.scans import TrolleyAct


@dataclass(frozen=True, slots=True, kw_only=True)
class OthersAct:
    """One act of another device."""

    number: int
    kind: str
    body: str
    """Canonical JSON."""
    who: str
    device: str
    """Its name; empty for a browser that is none of the unit's devices."""


def newest_act(session: Session, site_id: UUID, number: str) -> int:
    """Return the number of the last act on the circuit's prime; 0: none, or no such circuit."""
    rows = (
        select(func.max(TrolleyAct.recorded_no))
        .join(
            Circuit,
            (Circuit.site_id == TrolleyAct.site_id) & (Circuit.id == TrolleyAct.circuit_id),
        )
        .where(Circuit.site_id == site_id, Circuit.number == number.upper())
    )
    return session.scalar(rows) or 0


def acts_after(
    session: Session, site_id: UUID, number: str, known: int, *, besides: UUID | None
) -> list[OthersAct]:
    """Return the acts of all devices but one after that number, oldest first."""
    rows = (
        select(
            LedgerEvent.number,
            LedgerEvent.kind,
            LedgerEvent.body,
            Person.name,
            Device.name,
            Device.enrolled,
        )
        .join(
            TrolleyAct,
            (TrolleyAct.site_id == LedgerEvent.site_id)
            & (TrolleyAct.recorded_no == LedgerEvent.number),
        )
        .join(
            Circuit,
            (Circuit.site_id == TrolleyAct.site_id) & (Circuit.id == TrolleyAct.circuit_id),
        )
        .outerjoin(
            Person, (Person.site_id == LedgerEvent.site_id) & (Person.id == LedgerEvent.actor_id)
        )
        .outerjoin(
            Device, (Device.site_id == LedgerEvent.site_id) & (Device.id == LedgerEvent.device_id)
        )
        .where(
            Circuit.site_id == site_id,
            Circuit.number == number.upper(),
            TrolleyAct.recorded_no > known,
        )
        .order_by(TrolleyAct.recorded_no)
    )
    if besides is not None:
        rows = rows.where(TrolleyAct.device_id != besides)
    return [
        OthersAct(number=no, kind=kind, body=body, who=who or "", device=device if enrolled else "")
        for no, kind, body, who, device, enrolled in session.execute(rows)
    ]
