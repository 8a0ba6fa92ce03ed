"""Begin a prime: the circuit gets its number, its sheet and its place."""

from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.actions.once import Asked, Done, Site, answer_once, ledger_of
from traceability.domain.events import Kind
from traceability.domain.moments import believed_moment
from traceability.domain.people import Right
from traceability.errors import SamePerson, UnknownCode
from traceability.storage.lookup import newest_sheet, next_number
from traceability.storage.people import Person
from traceability.storage.site import Place
from traceability.storage.steps import newest_version


@dataclass(frozen=True, slots=True, kw_only=True)
class BeginPrime(Asked):
    """Somebody reads the circuit type aloud, before the pack is opened."""

    kind: ClassVar[str] = "begin-prime"
    right: ClassVar[Right | None] = Right.PRIME
    circuit_type: str
    place_id: UUID
    """Where it will stand when it is ready."""
    at: datetime
    primer_id: UUID | None = None
    helper_id: UUID | None = None


def begin_prime(asked: BeginPrime, *, site: Site) -> Done:
    """Give the circuit its number; the answer's facts carry it.

    Raises:
        UnknownCode: no such type, place or person. SamePerson: one person cannot be both.
        Nothing was written.
    """
    return answer_once(asked, _begin, site)


def _begin(asked: BeginPrime, session: Session, site: Site) -> Done:
    sheet = newest_sheet(session, site.id, asked.circuit_type)
    if sheet is None:
        raise UnknownCode(what="circuit type", value=asked.circuit_type)
    if session.get(Place, (site.id, asked.place_id)) is None:
        raise UnknownCode(what="place", value=str(asked.place_id))
    pair = [each for each in (asked.primer_id, asked.helper_id) if each is not None]
    for person_id in pair:
        if session.get(Person, (site.id, person_id)) is None:
            raise UnknownCode(what="person", value=str(person_id))
    if len(pair) != len(set(pair)):
        raise SamePerson(person="")
    ledger = ledger_of(asked, session, site)
    at, noted = believed_moment(asked.at, now=ledger.now)
    circuit_id, number = site.new_id(ledger.now), next_number(session, site.id, "C")
    steps_version = newest_version(session, site.id, sheet.way) or None
    body = {
        "circuit": circuit_id,
        "number": number,
        "circuit_type": sheet.circuit_type,
        "sheet_version": sheet.version,
        "steps_way": sheet.way,
        "steps_version": steps_version,
        "place": asked.place_id,
        "primer": asked.primer_id,
        "helper": asked.helper_id,
        "device_at": asked.at,
        "cautions": noted,
    }
    recorded_no = ledger.append(Kind.PRIME_BEGUN, body, happened_at=at)
    return Done(
        first_no=recorded_no,
        last_no=recorded_no,
        subject=circuit_id,
        code="prime-begun",
        facts={"number": number, "circuit_type": sheet.circuit_type},
        cautions=noted,
    )
