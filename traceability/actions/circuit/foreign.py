"""A circuit that was primed elsewhere comes in: contents not recorded, and never forgotten."""

from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.actions.on_circuit import the_circuit
from traceability.actions.once import Asked, Done, Site, answer_once, ledger_of
from traceability.domain.events import Kind
from traceability.domain.moments import believed_moment
from traceability.domain.people import Right
from traceability.storage.kept_apart import keep_apart, uuid7
from traceability.storage.lookup import next_number


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeInForeign(Asked):
    """It gets a number and a tag of ours; what is in it is asked of the sending unit."""

    kind: ClassVar[str] = "take-in-foreign"
    right: ClassVar[Right | None] = Right.ACT
    sender: str
    """Who sends it, as entered; free text, so it is kept apart."""
    at: datetime
    place_id: UUID | None = None
    circuit_id: UUID | None = None
    """A circuit that stands here already: one of ours that was elsewhere meanwhile, or one that was
    taken before anybody entered that it had come. It keeps its number."""


def take_in_foreign(asked: TakeInForeign, *, site: Site) -> Done:
    """Give it a number; the answer's facts carry it.

    Raises:
        UnknownCode: a circuit is named that is not here. Nothing was written.
    """
    return answer_once(asked, _take_in, site)


def _take_in(asked: TakeInForeign, session: Session, site: Site) -> Done:
    known = None if asked.circuit_id is None else the_circuit(session, site, asked.circuit_id)
    ledger = ledger_of(asked, session, site)
    at, noted = believed_moment(asked.at, now=ledger.now)
    circuit_id = uuid7(ledger.now) if known is None else known.id
    number = next_number(session, site.id, "X") if known is None else known.number
    body = {
        "circuit": circuit_id,
        "number": number,
        "tag": [keep_apart(session, asked.sender, at=ledger.now)] if asked.sender else [],
        "place": asked.place_id,
        "device_at": asked.at,
        "cautions": noted,
    }
    recorded_no = ledger.append(Kind.FOREIGN_ARRIVED, body, happened_at=at)
    return Done(
        first_no=recorded_no,
        last_no=recorded_no,
        subject=circuit_id,
        code="foreign-arrived",
        facts={"number": number},
        cautions=noted,
    )
