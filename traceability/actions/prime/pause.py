"""An unfinished prime is left, and the next pair takes it over: who hands, who takes, when."""

from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.actions.on_circuit import priming_since, the_circuit
from traceability.actions.once import Asked, Done, Site, answer_once, entered, ledger_of
from traceability.domain.events import Kind, Plain
from traceability.domain.moments import believed_moment
from traceability.domain.people import Right
from traceability.errors import BadValue, SamePerson, UnknownCode
from traceability.storage.pause_lookup import open_pause, pair_of
from traceability.storage.people import Person


@dataclass(frozen=True, slots=True, kw_only=True)
class PausePrime(Asked):
    """Who primes has to leave; what is in stays in, and the prime waits."""

    kind: ClassVar[str] = "pause-prime"
    right: ClassVar[Right | None] = Right.ACT
    circuit_id: UUID
    at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeOver(Asked):
    """Another pair goes on with a prime, paused or not."""

    kind: ClassVar[str] = "take-over"
    right: ClassVar[Right | None] = Right.PRIME
    circuit_id: UUID
    at: datetime
    primer_id: UUID | None = None
    helper_id: UUID | None = None


def pause_prime(asked: PausePrime, *, site: Site) -> Done:
    """Record that nobody works at the prime from now on.

    Raises:
        WrongState: it is not being primed. Nothing was written.
    """
    return answer_once(asked, _pause, site)


def take_over(asked: TakeOver, *, site: Site) -> Done:
    """Record who goes on, and from whom.

    Who hands over is who records it, if they were of the pair so far and go; else who paused it;
    else nobody is named, and the entry says so.

    Raises:
        BadValue: nobody is named who takes over. SamePerson: one person cannot be both.
        UnknownCode: no such person. WrongState: it is not being primed. Nothing was written.
    """
    return answer_once(asked, _take_over, site)


def _pause(asked: PausePrime, session: Session, site: Site) -> Done:
    circuit = the_circuit(session, site, asked.circuit_id)
    priming_since(session, circuit, "pause")
    ledger = ledger_of(asked, session, site)
    at, noted = believed_moment(asked.at, now=ledger.now, not_before=circuit.begun_at)
    facts: dict[str, Plain] = {"by": _name(session, site, asked.sent.actor_id)}
    body = {
        "circuit": circuit.id,
        "verdict": "accepted",
        "code": "prime-paused",
        "facts": facts,
        "scan": None,
        "device_at": asked.at,
        "cautions": noted,
    }
    return entered(
        ledger,
        Kind.PRIME_PAUSED,
        body,
        at=at,
        subject=circuit.id,
        code="prime-paused",
        facts={"number": circuit.number, **facts},
    )


def _take_over(asked: TakeOver, session: Session, site: Site) -> Done:
    circuit = the_circuit(session, site, asked.circuit_id)
    priming_since(session, circuit, "take-over")
    new = [each for each in (asked.primer_id, asked.helper_id) if each is not None]
    if not new:
        raise BadValue(field="who takes over", value="", why="empty")
    if len(new) != len(set(new)):
        raise SamePerson(person="")
    for person_id in new:
        if session.get(Person, (site.id, person_id)) is None:
            raise UnknownCode(what="person", value=str(person_id))
    ledger = ledger_of(asked, session, site)
    at, noted = believed_moment(asked.at, now=ledger.now, not_before=circuit.begun_at)
    before, pause = pair_of(session, circuit), open_pause(session, circuit)
    actor = asked.sent.actor_id
    paused_by = pause.paused_by if pause else None
    hands = actor if actor in before and actor not in new else paused_by
    facts: dict[str, Plain] = {
        "from": [_name(session, site, each) for each in before if each is not None],
        "to": [_name(session, site, each) for each in new],
        "handed_by": _name(session, site, hands),
    }
    body = {
        "circuit": circuit.id,
        "primer": asked.primer_id,
        "helper": asked.helper_id,
        "primer_before": before[0],
        "helper_before": before[1],
        "handed_by": hands,
        "paused_no": pause.recorded_no if pause else None,
        "verdict": "accepted",
        "code": "prime-taken-over",
        "facts": facts,
        "scan": None,
        "device_at": asked.at,
        "cautions": noted,
    }
    return entered(
        ledger,
        Kind.PRIME_TAKEN_OVER,
        body,
        at=at,
        subject=circuit.id,
        code="prime-taken-over",
        facts={"number": circuit.number, **facts},
    )


def _name(session: Session, site: Site, person_id: UUID | None) -> str:
    person = person_id and session.get(Person, (site.id, person_id))
    return person.name if person else ""
