"""What a sending hospital listed, where a circuit went, and which paper sheets are still out."""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.domain.contents_file import ContentsFile
from traceability.storage.circuits import Circuit
from traceability.storage.contents import contents_of
from traceability.storage.corrections import origin_no
from traceability.storage.down_time import DownTimeNumber, is_on_paper
from traceability.storage.kept_apart import KeptApart
from traceability.storage.ledger import LedgerEvent
from traceability.storage.moves import handover_of, list_of


@dataclass(frozen=True, slots=True, kw_only=True)
class ListFacts:
    """The sending hospital's newest list."""

    complete: bool
    source: str
    """Who stated it; empty for a prime that was entered after it was taken."""
    at: datetime
    """When it was entered."""
    file_digest: str


@dataclass(frozen=True, slots=True, kw_only=True)
class HandoverFacts:
    """Where a circuit went."""

    to: str
    at: datetime
    file_digest: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PaperFacts:
    """A down-time sheet that was printed and not entered."""

    number: str
    printed_at: datetime


def contents_word(session: Session, circuit: Circuit, as_of_no: int | None = None) -> str:
    """Return whether its contents are recorded, stated whole or in part, or not recorded."""
    if circuit.contents == "recorded":
        return "recorded"
    listed = list_of(session, circuit, as_of_no)
    if listed is None:
        return "not-recorded"
    if not listed.complete:
        return "partly"
    return "stated" if listed.kept_id is not None else "recorded"


def list_facts(session: Session, circuit: Circuit, as_of_no: int | None = None) -> ListFacts | None:
    """Return the newest list, or None."""
    listed = list_of(session, circuit, as_of_no)
    if listed is None or listed.kept_id is None:
        return None
    event = session.get_one(LedgerEvent, (circuit.site_id, origin_no(session, listed)))
    return ListFacts(
        complete=listed.complete,
        source=_text(session, listed.kept_id),
        at=event.happened_at,
        file_digest=listed.file_digest,
    )


def handover_facts(
    session: Session, circuit: Circuit, as_of_no: int | None = None
) -> HandoverFacts | None:
    """Return where it went last, or None."""
    found = handover_of(session, circuit, as_of_no)
    if found is None:
        return None
    return HandoverFacts(
        to=_text(session, found.kept_id), at=found.valid_from, file_digest=found.file_digest
    )


def contents_facts(session: Session, site_id: UUID, circuit_id: UUID) -> ContentsFile:
    """Return what goes with the circuit to another hospital."""
    return contents_of(session, session.get_one(Circuit, (site_id, circuit_id)))


def is_reserved(session: Session, site_id: UUID, number: str) -> bool:
    """Tell whether a down-time sheet of that number was printed here."""
    return is_on_paper(session, site_id, number.upper())


def papers_out(session: Session, site_id: UUID) -> list[PaperFacts]:
    """Return the sheets that nobody has entered, in the order of their numbers."""
    rows = (
        select(DownTimeNumber.number, LedgerEvent.happened_at)
        .join(
            LedgerEvent,
            (LedgerEvent.site_id == DownTimeNumber.site_id)
            & (LedgerEvent.number == DownTimeNumber.printed_no),
        )
        .outerjoin(
            Circuit,
            (Circuit.site_id == DownTimeNumber.site_id)
            & (Circuit.number == DownTimeNumber.number)
            & (Circuit.prime_ended_no.is_not(None)),
        )
        .where(DownTimeNumber.site_id == site_id, Circuit.id.is_(None))
        .order_by(DownTimeNumber.printed_no, DownTimeNumber.number)
    )
    return [PaperFacts(number=number, printed_at=at) for number, at in session.execute(rows)]


def _text(session: Session, kept_id: UUID | None) -> str:
    kept = kept_id and session.get(KeptApart, kept_id)
    return (kept.text or "") if kept else ""
