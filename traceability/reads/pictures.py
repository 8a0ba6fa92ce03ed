"""Which photos of a trolley are kept of a circuit."""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.storage.circuits import Circuit
from traceability.storage.ledger import LedgerEvent
from traceability.storage.people import Person
from traceability.storage.pictures import PrimePicture
from traceability.storage.policies import newest_policy


@dataclass(frozen=True, slots=True, kw_only=True)
class PictureFacts:
    """A photo that was kept."""

    id: UUID
    circuit: str
    """Its number."""
    at: datetime
    by: str
    """Who let it be kept; empty: nobody was signed in."""
    sha256: str
    size_bytes: int
    erased: bool


def pictures_of(session: Session, site_id: UUID, number: str) -> list[PictureFacts]:
    """Return the photos of the prime of that number, in the order in which they came in."""
    rows = (
        select(PrimePicture, Circuit.number, LedgerEvent.happened_at, Person.name)
        .join(
            Circuit,
            (Circuit.site_id == PrimePicture.site_id) & (Circuit.id == PrimePicture.circuit_id),
        )
        .join(
            LedgerEvent,
            (LedgerEvent.site_id == PrimePicture.site_id)
            & (LedgerEvent.number == PrimePicture.recorded_no),
        )
        .outerjoin(
            Person,
            (Person.site_id == LedgerEvent.site_id) & (Person.id == LedgerEvent.actor_id),
        )
        .where(PrimePicture.site_id == site_id, Circuit.number == number)
        .order_by(PrimePicture.recorded_no)
    )
    return [
        PictureFacts(
            id=picture.id,
            circuit=circuit,
            at=at,
            by=name or "",
            sha256=picture.sha256,
            size_bytes=picture.size_bytes,
            erased=picture.superseded_no is not None,
        )
        for picture, circuit, at, name in session.execute(rows)
    ]


def are_kept(session: Session, site_id: UUID) -> bool:
    """Tell whether the policy in force keeps photos."""
    return newest_policy(session, site_id)[1].keep_pictures
