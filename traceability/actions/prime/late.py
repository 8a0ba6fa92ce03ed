"""A prime that was written on paper is entered afterwards, as one act.

It has happened, so nothing of it is turned away: what a trolley would have stopped is recorded
with the prime as a caution. Only what cannot be, such as one number for two circuits, is refused.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar, Final
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.actions.on_circuit import the_circuit
from traceability.actions.once import Asked, Done, Site, answer_once, ledger_of
from traceability.actions.prime.end import MOST_FILL_ML, USUAL_CO2, use_by_facts
from traceability.actions.prime.late_parts import LatePart, LateRows, rows_of
from traceability.actions.prime.pieces import NO_CIRCUIT
from traceability.domain.events import Kind
from traceability.domain.in_place import missing
from traceability.domain.moments import believed_moment, is_before
from traceability.domain.people import Right
from traceability.domain.use_by import Way, decide
from traceability.errors import (
    BadValue,
    NotOnPaper,
    NumberUsed,
    PartsMissing,
    SamePerson,
    UnknownCode,
    WrongMoment,
)
from traceability.storage.circuits import Circuit
from traceability.storage.down_time import is_on_paper
from traceability.storage.lookup import (
    circuit_by_number,
    locked_circuit,
    moment_text,
    newest_sheet,
    next_number,
    prime_of,
)
from traceability.storage.people import Person
from traceability.storage.policies import newest_policy
from traceability.storage.site import Place
from traceability.storage.steps import newest_version

__all__ = ["EnterPrimeLate", "LatePart", "enter_prime_late"]

PAPER_NUMBER: Final = re.compile(r"[A-Z0-9][A-Z0-9-]{0,19}")
"""What may stand in the ledger as a paper's own number: no blanks, so no person's name."""


@dataclass(frozen=True, slots=True, kw_only=True)
class EnterPrimeLate(Asked):
    """What a paper says of a prime from its beginning to its end."""

    kind: ClassVar[str] = "enter-prime-late"
    right: ClassVar[Right | None] = Right.ACT
    circuit_type: str
    begun_at: datetime
    ended_at: datetime
    parts: tuple[LatePart, ...]
    number: str | None = None
    """The number on one of our down-time sheets; None: the next free number."""
    circuit_id: UUID | None = None
    """A circuit that stands here without its prime, whatever its tag: a person says that this paper
    is its. It keeps its number, and a prime told before gives way. None: `number` decides."""
    paper_number: str | None = None
    """The number on a paper that is not ours, where it has one."""
    place_id: UUID | None = None
    """Where it stands; None: nowhere that is known."""
    primer_id: UUID | None = None
    helper_id: UUID | None = None
    fill_ml: int | None = None
    """None: not written down; the usual volume of the type stands for it, with a caution."""
    co2_ml_min: int | None = None
    lots_not_recorded: bool = False
    """Go on although the paper says nothing of some places: each is *lot not recorded*."""


def enter_prime_late(asked: EnterPrimeLate, *, site: Site) -> Done:
    """Make the circuit with all that is known of its prime; signatures follow as usual.

    Raises:
        NumberUsed: a circuit has that number. NotOnPaper: no sheet of that number was printed.
        WrongMoment: it would have ended before it began. PartsMissing: the paper says nothing of
        some places; way on: *lots not recorded*. UnknownCode, SamePerson, BadValue. Nothing was
        written.
    """
    return answer_once(asked, _enter, site)


def _enter(asked: EnterPrimeLate, session: Session, site: Site) -> Done:
    sheet = newest_sheet(session, site.id, asked.circuit_type)
    if sheet is None:
        raise UnknownCode(what="circuit type", value=asked.circuit_type)
    _require_known(asked, session, site)
    before = _taken_before(asked, session, site)
    ledger = ledger_of(asked, session, site)
    begun_at, noted_begun = believed_moment(asked.begun_at, now=ledger.now)
    ended_at, noted = believed_moment(asked.ended_at, now=ledger.now, not_before=begun_at)
    day = begun_at.astimezone(site.zone).date()
    placed = rows_of(
        asked.parts,
        sheet,
        session,
        site.id,
        day=day,
        now=ledger.now,
        circuit_id=before.id if before else NO_CIRCUIT,
    )
    empty = missing(sheet, placed.filled)
    if empty and not asked.lots_not_recorded:
        raise PartsMissing(
            number=asked.number or "", missing=[f"{count} × {slot.name}" for slot, count in empty]
        )
    placed = placed.filled_up(sheet, ledger.now)
    fill_ml = sheet.fill_ml if asked.fill_ml is None else asked.fill_ml
    if before is not None and prime_of(session, before) is not None:
        noted += ("primed-before",)
    cautions = _cautions(asked, placed, fill_ml, (*noted_begun, *noted))
    version, limits = newest_policy(session, site.id)
    use_by = decide(
        ended_at,
        site.zone,
        Way(sheet.way),
        blood=placed.has_blood,
        limits=limits,
        expiries=placed.expiries,
        # When it went in is not known: it may have been at the very beginning.
        blood_at=begun_at if placed.has_blood else None,
    )
    circuit_id = before.id if before else site.new_id(ledger.now)
    number = before.number if before else _number(asked, session, site)
    facts = use_by_facts(use_by)
    body = {
        "circuit": circuit_id,
        "number": number,
        "taken_before": before is not None,
        "paper_number": asked.number or asked.paper_number,
        "circuit_type": sheet.circuit_type,
        "sheet_version": sheet.version,
        "steps_way": sheet.way,
        "steps_version": newest_version(session, site.id, sheet.way) or None,
        "place": asked.place_id,
        "primer": asked.primer_id,
        "helper": asked.helper_id,
        "begun_at": begun_at,
        "ended_at": ended_at,
        "parts": placed.rows,
        "use_by": use_by.at,
        "decides": facts["decides"],
        "comes_next": facts["comes_next"],
        "fill_ml": fill_ml,
        "co2_ml_min": asked.co2_ml_min,
        "policy_version": version,
        "device_at": asked.ended_at,
        "cautions": cautions,
    }
    recorded_no = ledger.append(Kind.PRIME_ENTERED_LATE, body, happened_at=ended_at)
    return Done(
        first_no=recorded_no,
        last_no=recorded_no,
        subject=circuit_id,
        code="prime-entered-late",
        facts={"number": number, "use_by": moment_text(use_by.at), **facts},
        disputed=any(row["disputed"] for row in placed.rows),
        cautions=cautions,
    )


def _require_known(asked: EnterPrimeLate, session: Session, site: Site) -> None:
    """Check what the form says of the room: place, people, times, volumes."""
    if asked.place_id is not None and session.get(Place, (site.id, asked.place_id)) is None:
        raise UnknownCode(what="place", value=str(asked.place_id))
    pair = [each for each in (asked.primer_id, asked.helper_id) if each is not None]
    for person_id in pair:
        if session.get(Person, (site.id, person_id)) is None:
            raise UnknownCode(what="person", value=str(person_id))
    if len(pair) != len(set(pair)):
        raise SamePerson(person="")
    if is_before(asked.ended_at, asked.begun_at):
        raise WrongMoment(moment=asked.ended_at, limit=asked.begun_at, side="ends-before-begun")
    if asked.fill_ml is not None and not 0 < asked.fill_ml <= MOST_FILL_ML:
        raise BadValue(field="fill volume", value=str(asked.fill_ml), why="out-of-range")
    if asked.paper_number is not None and not PAPER_NUMBER.fullmatch(asked.paper_number):
        raise BadValue(field="number on the paper", value="", why="short-name")


def _taken_before(asked: EnterPrimeLate, session: Session, site: Site) -> Circuit | None:
    """Return the circuit, locked, if its tag was scanned before anybody entered its sheet.

    Raises:
        UnknownCode: one is named that is not here. NumberUsed: its prime is recorded.
        WrongMoment: it was taken before its prime ended.
    """
    if asked.circuit_id is not None:
        return the_circuit(session, site, asked.circuit_id)
    found = circuit_by_number(session, site.id, asked.number) if asked.number else None
    circuit = locked_circuit(session, site.id, found.id) if found else None
    if circuit is None:
        return None
    if not is_on_paper(session, site.id, circuit.number) or prime_of(session, circuit) is not None:
        raise NumberUsed(number=circuit.number)
    if circuit.prime_ended_no is not None or circuit.contents == "recorded":
        raise NumberUsed(number=circuit.number)
    if asked.ended_at > circuit.begun_at:
        raise WrongMoment(moment=asked.ended_at, limit=circuit.begun_at, side="ends-after-taken")
    return circuit


def _number(asked: EnterPrimeLate, session: Session, site: Site) -> str:
    """Return the circuit's number; call it with the ledger's head locked."""
    if asked.number is None:
        return next_number(session, site.id, "C")
    number = asked.number.upper()
    if circuit_by_number(session, site.id, number) is not None:
        raise NumberUsed(number=number)
    if not is_on_paper(session, site.id, number):
        raise NotOnPaper(number=number)
    return number


def _cautions(
    asked: EnterPrimeLate, placed: LateRows, fill_ml: int, noted: Sequence[str]
) -> tuple[str, ...]:
    codes = [*noted, *placed.cautions]
    if asked.fill_ml is None:
        codes.append("fill-not-written")
    if asked.co2_ml_min is not None and asked.co2_ml_min not in USUAL_CO2:
        codes.append("co2-unusual")
    if placed.bags_ml < fill_ml:
        codes.append("bags-short")
    return tuple(dict.fromkeys(codes))
