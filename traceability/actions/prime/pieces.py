"""A piece read before there is a circuit to put it in: from a paper's sticker, for a list."""

from dataclasses import dataclass
from datetime import date
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.actions.prime.scanned import Question, Scan, Understood, understand

NO_CIRCUIT = UUID(int=0)


@dataclass(frozen=True, slots=True)
class NotYet:
    """Stands for a circuit that has no row yet."""

    site_id: UUID
    id: UUID = NO_CIRCUIT


def read_piece(
    session: Session,
    site_id: UUID,
    text: str,
    *,
    today: date,
    previous: str = "",
    chosen: str = "",
    circuit_id: UUID = NO_CIRCUIT,
) -> Understood | Question:
    """Return the piece that a code stands for, or what has to be asked first; nothing is written.

    `previous` is the other half of a label; `chosen` is "as-read" or "alternative" once a person
    has compared a doubtful reading with the print.
    """
    scan = Scan(text=text, chosen=chosen, counted=True)
    half = Scan(text=previous) if previous else None
    return understand(scan, half, session, NotYet(site_id, circuit_id), today)
