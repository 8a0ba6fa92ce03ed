"""One circuit: what it is, where it is, what is in it, and what happened."""

import json
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.domain.circuits import AWAY, Phase, Standing, State, state_at
from traceability.domain.events import Plain
from traceability.domain.shelf_checks import Look, last_look
from traceability.reads.circuit_parts import PartFacts, parts_of
from traceability.reads.moves import (
    HandoverFacts,
    ListFacts,
    contents_word,
    handover_facts,
    list_facts,
)
from traceability.reads.stays import OnRunFacts, StayFacts, phases_of, runs_of, stays_of
from traceability.storage.base import believed_at
from traceability.storage.circuits import NEVER_WAS, Circuit, Signature
from traceability.storage.kept_apart import KeptApart
from traceability.storage.lookup import (
    circuit_by_number,
    hold_on,
    prime_of,
    sheet_of,
    signatures_of,
    standing_of,
)
from traceability.storage.pause_lookup import hand_overs, open_pause, pair_of
from traceability.storage.people import Person
from traceability.storage.shelf_lookup import looks_at, way_of


@dataclass(frozen=True, slots=True, kw_only=True)
class SignatureFacts:
    """A signature as it is shown: name, time, meaning (21 CFR 11.50)."""

    part: str
    person_id: UUID
    name: str
    at: datetime
    meaning: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CircuitFacts:
    """Everything that a circuit's page, tag and trolley say."""

    id: UUID
    number: str
    origin: str
    circuit_type: str
    sheet_version: int
    way: str
    """How it stands ready; empty until its prime ends."""
    opened_at: datetime | None
    """When it was opened after its prime; None: it was not."""
    contents: str
    """ "recorded"; "stated" or "partly" by the sending hospital's list; "not-recorded"."""
    listed: ListFacts | None
    """The sending hospital's newest list."""
    handover: HandoverFacts | None
    """To whom it went."""
    sender: str
    """Where a foreign circuit came from, or the tag that nobody knew; empty for our own."""
    state: State
    standing: Standing
    begun_at: datetime
    primer: str
    helper: str
    primer_id: UUID | None
    helper_id: UUID | None
    paused_at: datetime | None
    """Since when nobody works at its prime; None: somebody does, or it has ended."""
    paused_by: str
    handed_over: tuple[datetime, ...]
    """When another pair took its prime over, first to last."""
    place: str
    place_id: UUID | None
    ended_at: datetime | None
    """End of the prime."""
    use_by: datetime | None
    decides: dict[str, Plain]
    comes_next: dict[str, Plain]
    fill_ml: int | None
    co2_ml_min: int | None
    signatures: tuple[SignatureFacts, ...]
    signed_before: tuple[SignatureFacts, ...]
    """Given under what a correction has changed since; they stay on what they signed."""
    hold: str
    """Reason or notice of the hold; empty if free."""
    parts: tuple[PartFacts, ...]
    """Open and ended ones, in the order of the sheet and of time."""
    runs: tuple[OnRunFacts, ...]
    places: tuple[StayFacts, ...]
    phases: tuple[StayFacts, ...]
    looks: tuple[Look, ...]
    """Looks at it on the shelf, oldest entry first."""

    @property
    def now_in(self) -> tuple[PartFacts, ...]:
        """What is in it now."""
        return tuple(part for part in self.parts if part.until is None)

    @property
    def look(self) -> Look | None:
        """The last look at it on the shelf, or None."""
        return last_look(self.looks)

    @property
    def away_since(self) -> datetime | None:
        """Since when it is away with the retrieval team; None if it is not."""
        now = [each for each in self.phases if each.until is None]
        away = now and now[0].name == Phase.TAKEN and now[0].reason == AWAY
        return now[0].from_ if away else None

    @property
    def on_run(self) -> OnRunFacts | None:
        """The run it is taken for or on now, by the claim that stands."""
        return next((each for each in self.runs if each.until is None and not each.disputed), None)


def circuit_facts(
    session: Session, site_id: UUID, number: str, now: datetime, as_of_no: int | None = None
) -> CircuitFacts | None:
    """Return the circuit of that number, or None; as of a ledger number, as it was known then.

    None too where it was not known then. `now` is the moment of which is spoken.
    """
    circuit = circuit_by_number(session, site_id, number)
    if circuit is None or (as_of_no is not None and circuit.begun_no > as_of_no):
        return None
    return facts_of(session, circuit, now, as_of_no)


def circuit_facts_by_id(
    session: Session, site_id: UUID, circuit_id: UUID, now: datetime
) -> CircuitFacts | None:
    """Return the circuit of that id, or None."""
    circuit = session.get(Circuit, (site_id, circuit_id))
    return None if circuit is None else facts_of(session, circuit, now)


def facts_of(
    session: Session, circuit: Circuit, now: datetime, as_of_no: int | None = None
) -> CircuitFacts:
    """Return all that is known of a stored circuit, now or as of a ledger number."""
    prime = prime_of(session, circuit, as_of_no)
    standing = standing_of(session, circuit, as_of_no)
    sheet = sheet_of(session, circuit.site_id, circuit.circuit_type, circuit.sheet_version)
    way = way_of(session, circuit, as_of_no)
    hold = hold_on(session, circuit.site_id, circuit.id, as_of_no=as_of_no)
    stays = stays_of(session, circuit, as_of_no)
    phases = tuple(phases_of(session, circuit, as_of_no))
    here = next((stay for stay in stays if stay[1].until is None), None)
    kept = circuit.kept_id and session.get(KeptApart, circuit.kept_id)
    primer_id, helper_id = pair_of(session, circuit, as_of_no)
    is_priming = standing.phase is Phase.PRIMING and as_of_no is None
    pause = open_pause(session, circuit) if is_priming else None
    return CircuitFacts(
        id=circuit.id,
        number=circuit.number,
        origin=circuit.origin,
        circuit_type=circuit.circuit_type,
        sheet_version=circuit.sheet_version,
        way=way.way if way else (sheet.way if sheet and prime else ""),
        opened_at=way.valid_from if way and way.recorded_no != circuit.prime_ended_no else None,
        contents=_contents(session, circuit, phases, as_of_no),
        listed=list_facts(session, circuit, as_of_no),
        handover=handover_facts(session, circuit, as_of_no),
        sender=(kept.text or "") if kept else "",
        state=state_at(standing, now),
        standing=standing,
        begun_at=circuit.begun_at,
        primer=_name(session, circuit.site_id, primer_id),
        helper=_name(session, circuit.site_id, helper_id),
        primer_id=primer_id,
        helper_id=helper_id,
        paused_at=pause.valid_from if pause else None,
        handed_over=hand_overs(session, circuit, as_of_no),
        paused_by=_name(session, circuit.site_id, pause.paused_by) if pause else "",
        place=here[1].name if here else "",
        place_id=here[0] if here else None,
        ended_at=prime.valid_from if prime else None,
        use_by=prime.use_by if prime else None,
        decides=json.loads(prime.decides) if prime else {},
        comes_next=(json.loads(prime.comes_next) or {}) if prime else {},
        fill_ml=prime.fill_ml if prime else None,
        co2_ml_min=prime.co2_ml_min if prime else None,
        signatures=tuple(
            _signed(session, each) for each in signatures_of(session, circuit, as_of_no)
        ),
        signed_before=tuple(
            _signed(session, each) for each in _signed_before(session, circuit, as_of_no)
        ),
        hold=(hold.notice or hold.reason) if hold else "",
        parts=tuple(parts_of(session, circuit, as_of_no)),
        runs=tuple(runs_of(session, circuit, as_of_no)),
        places=tuple(stay for _, stay in stays),
        phases=phases,
        looks=tuple(looks_at(session, circuit, as_of_no)),
    )


def _contents(
    session: Session, circuit: Circuit, phases: tuple[StayFacts, ...], as_of_no: int | None
) -> str:
    """Return whether it is recorded what is in it; a voided prime says nothing of that."""
    never_was = any(each.reason == NEVER_WAS for each in phases)
    return "not-recorded" if never_was else contents_word(session, circuit, as_of_no)


def _signed(session: Session, row: Signature) -> SignatureFacts:
    return SignatureFacts(
        part=row.part,
        person_id=row.person_id,
        name=_name(session, row.site_id, row.person_id),
        at=row.valid_from,
        meaning=row.meaning,
    )


def _signed_before(session: Session, circuit: Circuit, as_of_no: int | None) -> list[Signature]:
    rows = (
        select(Signature)
        .where(
            Signature.site_id == circuit.site_id,
            Signature.circuit_id == circuit.id,
            Signature.valid_to.is_not(None),
            believed_at(Signature, as_of_no),
        )
        .order_by(Signature.valid_from, Signature.recorded_no)
    )
    return list(session.scalars(rows))


def _name(session: Session, site_id: UUID, person_id: UUID | None) -> str:
    person = person_id and session.get(Person, (site_id, person_id))
    return person.name if person else ""
