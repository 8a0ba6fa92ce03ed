"""What the sending hospital says is in its circuit: entered from its paper, or from its file.

What it states counts as recorded, with "stated by the sending hospital" as how it is known (common
practice, no source; settled in review with people of the trade). The newest list takes the place
of the one before. Only a list that is complete ends "contents not recorded".
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar, Final
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.actions.circuit.listed_parts import ListedPart, listed_rows
from traceability.actions.on_circuit import the_circuit
from traceability.actions.once import Asked, Done, Site, answer_once, ledger_of
from traceability.domain.circuits import Origin
from traceability.domain.events import Kind
from traceability.domain.moments import believed_moment
from traceability.domain.people import Right
from traceability.errors import BadValue, PrimedHere
from traceability.storage.circuits import Circuit, Part
from traceability.storage.kept_apart import keep_apart
from traceability.storage.moves import list_of

__all__ = ["ListForeign", "ListedPart", "list_foreign"]

MOST_LISTED: Final = 200
LONGEST_SOURCE: Final = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class ListForeign(Asked):
    """The whole list as it is known now, not only what is new in it."""

    kind: ClassVar[str] = "list-foreign"
    right: ClassVar[Right | None] = Right.ACT
    circuit_id: UUID
    parts: tuple[ListedPart, ...]
    complete: bool
    """The sending hospital says that this is all of it."""
    source: str
    """Who stated it, as entered; free text, so it is kept apart."""
    at: datetime
    file_digest: str = ""
    """SHA-256 of the file it came in."""
    as_it_stands: bool = False
    """It was asked for again and stands like this: an empty list, or one serial on two lines, is no
    slip of ours. The second of two is disputed."""


def list_foreign(asked: ListForeign, *, site: Site) -> Done:
    """Put the stated parts into the circuit, from its arrival on.

    Raises:
        PrimedHere: what is in it was recorded here. BadValue: an empty list, a part that cannot
        be. UnknownCode: no such circuit or product. Nothing was written.
    """
    return answer_once(asked, _list, site)


def _list(asked: ListForeign, session: Session, site: Site) -> Done:
    circuit = the_circuit(session, site, asked.circuit_id)
    if circuit.origin != Origin.FOREIGN and circuit.contents == "recorded":
        raise PrimedHere(number=circuit.number)
    source = asked.source.strip()
    if not source:
        raise BadValue(field="who states it", value="", why="empty")
    if len(source) > LONGEST_SOURCE:
        raise BadValue(field="who states it", value="", why="too-long")
    if not (asked.parts or asked.as_it_stands) or len(asked.parts) > MOST_LISTED:
        raise BadValue(field="parts", value="", why="empty")
    ledger = ledger_of(asked, session, site)
    first_no = ledger.next_no
    at, noted = believed_moment(asked.at, now=ledger.now, not_before=circuit.begun_at)
    made = listed_rows(
        asked.parts,
        circuit,
        session,
        held=_held_otherwise(session, circuit),
        as_it_stands=asked.as_it_stands,
        now=ledger.now,
    )
    for body in made.new_products:
        ledger.append(Kind.PRODUCT_SET, body, happened_at=at)
    complete = asked.complete and not made.pack_unknown and not made.kind_unknown
    cautions = (*noted, *made.cautions)
    body = {
        "circuit": circuit.id,
        "complete": complete,
        "parts": made.rows,
        "source": [keep_apart(session, source, at=ledger.now)],
        "file_digest": asked.file_digest,
        "device_at": asked.at,
        "cautions": cautions,
    }
    number = ledger.append(Kind.FOREIGN_LISTED, body, happened_at=at)
    return Done(
        first_no=first_no,
        last_no=number,
        subject=circuit.id,
        code="foreign-listed",
        facts={"number": circuit.number, "parts": len(made.rows), "complete": complete},
        disputed=any(row["disputed"] for row in made.rows),
        cautions=cautions,
    )


def _held_otherwise(session: Session, circuit: Circuit) -> Mapping[str, Sequence[int]]:
    """Return the places that hold what we put in ourselves; a list never takes their place."""
    before = list_of(session, circuit)
    rows = select(Part.slot, Part.ordinal).where(
        Part.site_id == circuit.site_id,
        Part.circuit_id == circuit.id,
        Part.valid_to.is_(None),
        Part.superseded_no.is_(None),
        Part.recorded_no != (before.recorded_no if before else 0),
    )
    found: dict[str, list[int]] = {}
    for slot, ordinal in session.execute(rows):
        found.setdefault(slot, []).append(ordinal)
    return found
