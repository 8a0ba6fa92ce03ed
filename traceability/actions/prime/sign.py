"""The two signatures under a prime, by two different people, now or later, at any device."""

import hashlib
from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar, Final
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.actions.on_circuit import the_circuit
from traceability.actions.once import Asked, Done, Site, answer_once, ledger_of
from traceability.domain.circuits import Phase
from traceability.domain.events import Kind, Plain
from traceability.domain.moments import believed_moment
from traceability.domain.people import Right
from traceability.errors import (
    AlreadySigned,
    BadValue,
    NotAllowed,
    SamePerson,
    UnknownCode,
    WrongState,
)
from traceability.security.roles import rights_of_person
from traceability.storage.circuits import Circuit, Part
from traceability.storage.ledger import canonical
from traceability.storage.lookup import phase_of, prime_of, signatures_of
from traceability.storage.people import Person
from traceability.storage.steps import said_of

MEANINGS: Final = {"primer": "primed", "helper": "assisted and checked"}
"""What each signature means, printed with it (21 CFR 11.50 (a)(3))."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SignPrime(Asked):
    """A person signs as primer or helper, having shown badge and PIN (21 CFR 11.200)."""

    kind: ClassVar[str] = "sign-prime"
    right: ClassVar[Right | None] = Right.ACT
    circuit_id: UUID
    part: str
    """ "primer" or "helper"."""
    signer_id: UUID
    """Who showed badge and PIN; need not be who is signed in at the device."""
    at: datetime


def sign_prime(asked: SignPrime, *, site: Site) -> Done:
    """Record the signature, bound to what was signed by a digest (21 CFR 11.70).

    Raises:
        WrongState: the prime has not ended. AlreadySigned, SamePerson, NotAllowed, BadValue.
        Nothing was written.
    """
    return answer_once(asked, _sign, site)


def _sign(asked: SignPrime, session: Session, site: Site) -> Done:
    circuit = the_circuit(session, site, asked.circuit_id)
    if asked.part not in MEANINGS:
        raise BadValue(field="signs as", value=asked.part, why="not-one-of", of=tuple(MEANINGS))
    phase, prime = phase_of(session, circuit).phase, prime_of(session, circuit)
    if prime is None or phase == Phase.PRIMING:
        raise WrongState(number=circuit.number, state=phase, act="sign")
    person = session.get(Person, (site.id, asked.signer_id))
    if person is None:
        raise UnknownCode(what="person", value=str(asked.signer_id))
    if Right.PRIME not in rights_of_person(session, site.id, person.id):
        raise NotAllowed(right=Right.PRIME, person=person.name)
    signed = {each.part: each.person_id for each in signatures_of(session, circuit)}
    if asked.part in signed:
        there = session.get_one(Person, (site.id, signed[asked.part]))
        raise AlreadySigned(part=asked.part, person=there.name)
    if person.id in signed.values():
        raise SamePerson(person=person.name)
    ledger = ledger_of(asked, session, site)
    at, noted = believed_moment(asked.at, now=ledger.now, not_before=prime.valid_from)
    facts: dict[str, Plain] = {
        "number": circuit.number,
        "part": asked.part,
        "person": person.name,
        "signatures": len(signed) + 1,
    }
    body = {
        "circuit": circuit.id,
        "part": asked.part,
        "person": person.id,
        "meaning": MEANINGS[asked.part],
        "content_digest": content_digest(session, circuit),
        "device_at": asked.at,
        "cautions": noted,
    }
    number = ledger.append(Kind.PRIME_SIGNED, body, happened_at=at)
    return Done(first_no=number, last_no=number, subject=circuit.id, code="signed", facts=facts)


def content_digest(session: Session, circuit: Circuit) -> str:
    """Return SHA-256 over what a signature stands under: parts, steps, end, fill and use-by."""
    prime = prime_of(session, circuit)
    rows = session.execute(
        select(
            Part.slot,
            Part.ordinal,
            Part.state,
            Part.known,
            Part.product_id,
            Part.lot_id,
            Part.serial,
            Part.expiry,
        )
        .filter_by(site_id=circuit.site_id, circuit_id=circuit.id, superseded_no=None)
        .order_by(Part.slot, Part.ordinal, Part.recorded_no, Part.line)
    )
    content = {
        "circuit": circuit.id,
        "number": circuit.number,
        "circuit_type": circuit.circuit_type,
        "sheet_version": circuit.sheet_version,
        "ended_at": prime and prime.valid_from,
        "use_by": prime and prime.use_by,
        "fill_ml": prime and prime.fill_ml,
        "parts": [list(row) for row in rows],
    }
    if steps := said_of(session, circuit):
        content["steps"] = [
            [each.step, each.state, each.reason, [said.words for said in each.readings]]
            for _, each in sorted(steps.items())
        ]
    return hashlib.sha256(canonical(content).encode("ascii")).hexdigest()
