"""End a prime: from here the use-by counts."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar
from uuid import UUID

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from traceability.actions.on_circuit import priming_since, the_circuit, the_sheet
from traceability.actions.once import Asked, Done, Site, answer_once, ledger_of
from traceability.actions.prime.say import said_part
from traceability.actions.prime.steps import not_said
from traceability.domain.days import last_day_of_use
from traceability.domain.events import Kind, Plain
from traceability.domain.in_place import InPlace, free_places, missing
from traceability.domain.moments import believed_moment
from traceability.domain.parts import PartState
from traceability.domain.people import Right
from traceability.domain.sheets import BLOOD_KIND, FLUID_KIND, Need, Sheet
from traceability.domain.use_by import PartExpiry, Reason, UseBy, Way, decide
from traceability.errors import BadValue, PartsMissing
from traceability.storage.circuits import Circuit, Part
from traceability.storage.items import Lot, Product
from traceability.storage.kept_apart import uuid7
from traceability.storage.ledger import OpenLedger
from traceability.storage.lookup import in_place, moment_text
from traceability.storage.policies import newest_policy


@dataclass(frozen=True, slots=True, kw_only=True)
class EndPrime(Asked):
    """The circuit is filled, de-aired and clamped."""

    kind: ClassVar[str] = "end-prime"
    right: ClassVar[Right | None] = Right.PRIME
    circuit_id: UUID
    at: datetime
    fill_ml: int
    co2_ml_min: int | None = None
    """CO2 flow while flushing; 1,000 to 2,000 ml/min is usual, else a caution (no source)."""
    way: str = ""
    """How it stands ready; empty: as its sheet says. A dry set-up is filled with nothing."""
    lots_not_recorded: bool = False
    """Go on although places are empty: each is recorded as *lot not recorded*."""


def end_prime(asked: EndPrime, *, site: Site) -> Done:
    """Record the end and the use-by with its reason.

    Raises:
        PartsMissing: places are empty; way on: *lots not recorded*.
        WrongState: the prime has ended, perhaps in another browser. BadValue: a volume that
        cannot be, or an unknown way of standing. Nothing was written.
    """
    return answer_once(asked, _end, site)


USUAL_CO2 = range(1000, 2001)
MOST_FILL_ML = 10_000


def _end(asked: EndPrime, session: Session, site: Site) -> Done:
    circuit = the_circuit(session, site, asked.circuit_id)
    phase = priming_since(session, circuit, "end")
    sheet = the_sheet(session, circuit)
    way = _way(asked, sheet)
    least = 0 if way is Way.DRY else 1
    if not least <= asked.fill_ml <= (0 if way is Way.DRY else MOST_FILL_ML):
        raise BadValue(field="fill volume", value=str(asked.fill_ml), why="out-of-range")
    filled = in_place(session, circuit)
    empty = missing(sheet, filled)
    if empty and not asked.lots_not_recorded:
        raise PartsMissing(
            number=circuit.number, missing=[f"{count} × {slot.name}" for slot, count in empty]
        )
    ledger = ledger_of(asked, session, site)
    first_no = ledger.next_no
    # One trolley's clock may run ahead of another's: no part may go in after the prime's end.
    latest = _latest_part(session, circuit) or phase.valid_from
    not_before = max(latest, phase.valid_from)
    at, noted = believed_moment(asked.at, now=ledger.now, not_before=not_before)
    if empty:
        _fill_with_not_recorded(ledger, circuit, sheet, filled, at)
    if asked.co2_ml_min is not None and asked.co2_ml_min not in USUAL_CO2:
        noted += ("co2-unusual",)
    if _bags_ml(session, circuit) < asked.fill_ml:
        noted += ("bags-short",)
    if steps_open := not_said(session, circuit):
        noted += ("steps-not-said",)
    version, limits = newest_policy(session, site.id)
    expiries = expiries_in(session, circuit)
    use_by = decide(
        at,
        site.zone,
        way,
        blood=(blood_at := first_in(session, circuit, BLOOD_KIND)) is not None,
        limits=limits,
        expiries=expiries,
        blood_at=blood_at,
        # A bag is scanned when it is opened; the limit, if the policy has one, counts from there.
        fluid_opened_at=first_in(session, circuit, FLUID_KIND),
    )
    facts = use_by_facts(use_by)
    body = {
        "circuit": circuit.id,
        "way": way,
        "use_by": use_by.at,
        "decides": facts["decides"],
        "comes_next": facts["comes_next"],
        "fill_ml": asked.fill_ml,
        "co2_ml_min": asked.co2_ml_min,
        "policy_version": version,
        "steps_open": steps_open,
        "verdict": "accepted",
        "code": "prime-ended",
        "facts": {"use_by": use_by.at},
        "scan": None,
        "device_at": asked.at,
        "cautions": noted,
    }
    number = ledger.append(Kind.PRIME_ENDED, body, happened_at=at)
    return Done(
        first_no=first_no,
        last_no=number,
        subject=circuit.id,
        code="prime-ended",
        facts={"number": circuit.number, "use_by": moment_text(use_by.at), **facts},
        cautions=noted,
    )


def _way(asked: EndPrime, sheet: Sheet) -> Way:
    ways = [each.value for each in Way]
    if asked.way and asked.way not in ways:
        raise BadValue(field="how it stands", value=asked.way, why="not-one-of", of=ways)
    return Way(asked.way or sheet.way)


def use_by_facts(use_by: UseBy) -> dict[str, Plain]:
    """Return which limit decides and which comes next, as plain values."""
    return {
        "decides": _limit(use_by.deciding),
        "comes_next": None if use_by.next is None else _limit(use_by.next),
    }


def _limit(reason: Reason) -> dict[str, Plain]:
    # Hours may be halves, and a body holds no floats.
    facts = {
        name: f"{value:g}" if isinstance(value, float) else value
        for name, value in reason.facts.items()
    }
    return {"code": str(reason.code), "at": moment_text(reason.at), **facts}


def _fill_with_not_recorded(
    ledger: OpenLedger, circuit: Circuit, sheet: Sheet, filled: Sequence[InPlace], at: datetime
) -> None:
    ticks = {slot.id for slot in sheet.slots if slot.need is Need.TICK}
    rows = []
    for slot_id, ordinal in free_places(sheet.slots, filled):
        state = PartState.TICKED if slot_id in ticks else PartState.LOT_NOT_RECORDED
        rows.append(said_part(sheet, slot_id, ordinal, state, None, uuid7(ledger.now)))
    body = {
        "circuit": circuit.id,
        "verdict": "accepted",
        "code": "lots-not-recorded",
        "facts": {"added": len(rows)},
        "scan": None,
        "parts": rows,
    }
    ledger.append(Kind.PART_PLACED, body, happened_at=at)


def _latest_part(session: Session, circuit: Circuit) -> datetime | None:
    rows = select(func.max(Part.valid_from)).filter_by(
        site_id=circuit.site_id, circuit_id=circuit.id, superseded_no=None
    )
    return session.scalar(rows)


def first_in(session: Session, circuit: Circuit, kind: str) -> datetime | None:
    """Return when the first part of a kind went in, whether it is still in or not; None: none."""
    rows = select(func.min(Part.valid_from)).filter_by(
        site_id=circuit.site_id, circuit_id=circuit.id, kind=kind, superseded_no=None
    )
    return session.scalar(rows.where(Part.state != PartState.NOT_FITTED))


def _bags_ml(session: Session, circuit: Circuit) -> int:
    rows = select(Part.volume_ml).filter_by(
        site_id=circuit.site_id,
        circuit_id=circuit.id,
        stays=True,
        valid_to=None,
        superseded_no=None,
    )
    return sum(volume or 0 for volume in session.scalars(rows))


def expiries_in(session: Session, circuit: Circuit) -> list[PartExpiry]:
    """Return the expiries of what stays in the circuit after the prime."""
    rows = session.execute(
        select(Part.expiry, Product.name, Lot.text)
        .join(Product, (Product.site_id == Part.site_id) & (Product.id == Part.product_id))
        .outerjoin(Lot, (Lot.site_id == Part.site_id) & (Lot.id == Part.lot_id))
        .where(
            Part.site_id == circuit.site_id,
            Part.circuit_id == circuit.id,
            Part.expiry.is_not(None),
            Part.leaves.is_(False),
            Part.valid_to.is_(None),
            Part.superseded_no.is_(None),
        )
        .order_by(Part.recorded_no, Part.line)
    )
    return [
        PartExpiry(
            name=row.name,
            lot=row.text,
            expiry=last_day_of_use(row.expiry),
            day_given=len(row.expiry) == len("2027-03-31"),
        )
        for row in rows
    ]
