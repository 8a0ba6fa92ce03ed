"""One circuit: what it is, where it is, what is in it, and what happened."""

import json
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.domain.circuits import AWAY, Phase, Standing, State, state_at
from traceability.domain.events import Plain
from traceability.domain.parts import PartState
from traceability.reads.moves import (
    HandoverFacts,
    ListFacts,
    contents_word,
    handover_facts,
    list_facts,
)
from traceability.reads.stays import OnRunFacts, StayFacts, phases_of, runs_of, stays_of
from traceability.storage.base import believed_at
from traceability.storage.circuits import Circuit, Part
from traceability.storage.items import Lot, Product
from traceability.storage.kept_apart import KeptApart
from traceability.storage.lookup import (
    circuit_by_number,
    hold_on,
    prime_of,
    sheet_of,
    signatures_of,
    standing_of,
)
from traceability.storage.people import Person


@dataclass(frozen=True, slots=True, kw_only=True)
class PartFacts:
    """One piece in one place, or one that was there."""

    slot: str
    place: str
    """Name of the place in the circuit."""
    ordinal: int
    count: int
    kind: str
    state: PartState
    known: str
    name: str
    """Product name, or empty."""
    maker: str
    item_number: str
    lot: str | None
    serial: str | None
    expiry: str | None
    product_id: UUID | None
    lot_id: UUID | None
    from_: datetime
    until: datetime | None
    leaves: bool
    disputed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class SignatureFacts:
    """A signature as it is shown: name, time, meaning (21 CFR 11.50)."""

    part: str
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
    hold: str
    """Reason or notice of the hold; empty if free."""
    parts: tuple[PartFacts, ...]
    """Open and ended ones, in the order of the sheet and of time."""
    runs: tuple[OnRunFacts, ...]
    places: tuple[StayFacts, ...]
    phases: tuple[StayFacts, ...]

    @property
    def now_in(self) -> tuple[PartFacts, ...]:
        """What is in it now."""
        return tuple(part for part in self.parts if part.until is None)

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
    session: Session, site_id: UUID, number: str, now: datetime
) -> CircuitFacts | None:
    """Return the circuit of that number, or None."""
    circuit = circuit_by_number(session, site_id, number)
    return None if circuit is None else facts_of(session, circuit, now)


def circuit_facts_by_id(
    session: Session, site_id: UUID, circuit_id: UUID, now: datetime
) -> CircuitFacts | None:
    """Return the circuit of that id, or None."""
    circuit = session.get(Circuit, (site_id, circuit_id))
    return None if circuit is None else facts_of(session, circuit, now)


def facts_of(session: Session, circuit: Circuit, now: datetime) -> CircuitFacts:
    """Return all that is known of a stored circuit."""
    prime, standing = prime_of(session, circuit), standing_of(session, circuit)
    sheet = sheet_of(session, circuit.site_id, circuit.circuit_type, circuit.sheet_version)
    hold = hold_on(session, circuit.site_id, circuit.id)
    stays = stays_of(session, circuit)
    here = next((stay for stay in stays if stay[1].until is None), None)
    kept = circuit.kept_id and session.get(KeptApart, circuit.kept_id)
    return CircuitFacts(
        id=circuit.id,
        number=circuit.number,
        origin=circuit.origin,
        circuit_type=circuit.circuit_type,
        sheet_version=circuit.sheet_version,
        way=sheet.way if sheet else "",
        contents=contents_word(session, circuit),
        listed=list_facts(session, circuit),
        handover=handover_facts(session, circuit),
        sender=(kept.text or "") if kept else "",
        state=state_at(standing, now),
        standing=standing,
        begun_at=circuit.begun_at,
        primer=_name(session, circuit.site_id, circuit.primer_id),
        helper=_name(session, circuit.site_id, circuit.helper_id),
        primer_id=circuit.primer_id,
        helper_id=circuit.helper_id,
        place=here[1].name if here else "",
        place_id=here[0] if here else None,
        ended_at=prime.valid_from if prime else None,
        use_by=prime.use_by if prime else None,
        decides=json.loads(prime.decides) if prime else {},
        comes_next=(json.loads(prime.comes_next) or {}) if prime else {},
        fill_ml=prime.fill_ml if prime else None,
        co2_ml_min=prime.co2_ml_min if prime else None,
        signatures=tuple(
            SignatureFacts(
                part=each.part,
                name=_name(session, circuit.site_id, each.person_id),
                at=each.valid_from,
                meaning=each.meaning,
            )
            for each in signatures_of(session, circuit)
        ),
        hold=(hold.notice or hold.reason) if hold else "",
        parts=tuple(_parts(session, circuit)),
        runs=tuple(runs_of(session, circuit)),
        places=tuple(stay for _, stay in stays),
        phases=tuple(phases_of(session, circuit)),
    )


def _name(session: Session, site_id: UUID, person_id: UUID | None) -> str:
    person = person_id and session.get(Person, (site_id, person_id))
    return person.name if person else ""


def _parts(session: Session, circuit: Circuit) -> list[PartFacts]:
    sheet = sheet_of(session, circuit.site_id, circuit.circuit_type, circuit.sheet_version)
    slots = {slot.id: slot for slot in sheet.slots} if sheet else {}
    order = {slot_id: index for index, slot_id in enumerate(slots)}
    rows = session.execute(
        select(Part, Product.name, Product.maker, Product.item_number, Lot.text)
        .outerjoin(Product, (Product.site_id == Part.site_id) & (Product.id == Part.product_id))
        .outerjoin(Lot, (Lot.site_id == Part.site_id) & (Lot.id == Part.lot_id))
        .where(
            Part.site_id == circuit.site_id,
            Part.circuit_id == circuit.id,
            believed_at(Part, None),
        )
    ).all()
    highest: dict[str, int] = {}
    for part, *_ in rows:
        highest[part.slot] = max(part.ordinal, highest.get(part.slot, 1))
    found = [
        PartFacts(
            slot=part.slot,
            place=slots[part.slot].name if part.slot in slots else part.slot.replace("-", " "),
            ordinal=part.ordinal,
            count=slots[part.slot].count if part.slot in slots else highest[part.slot],
            kind=part.kind,
            state=PartState(part.state),
            known=part.known,
            name=name or "",
            maker=maker or "",
            item_number=item_number or "",
            lot=lot,
            serial=part.serial,
            expiry=part.expiry,
            product_id=part.product_id,
            lot_id=part.lot_id,
            from_=part.valid_from,
            until=part.valid_to,
            leaves=part.leaves,
            disputed=part.disputed,
        )
        for part, name, maker, item_number, lot in rows
    ]
    return sorted(found, key=lambda p: (order.get(p.slot, len(order)), p.ordinal, p.from_))
