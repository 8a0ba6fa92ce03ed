"""A prime as the trolley shows it: the sheet, what each place holds, what is missing."""

import json
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final
from uuid import UUID

from sqlalchemy import ColumnElement, func, select
from sqlalchemy.orm import Session

from traceability.domain.circuits import Phase
from traceability.domain.events import Plain
from traceability.domain.in_place import InPlace, missing, recorded_count, suggested
from traceability.domain.sheets import Sheet, Slot
from traceability.domain.steps import STEP_ACTS
from traceability.reads.steps import NO_STEPS, StepsFacts, steps_facts
from traceability.storage.circuits import Circuit, CircuitPlace
from traceability.storage.kept_apart import KeptApart
from traceability.storage.ledger import LedgerEvent
from traceability.storage.lookup import circuit_by_number, in_place, phase_of, sheet_of
from traceability.storage.pause_lookup import open_pause, pair_of
from traceability.storage.people import Person
from traceability.storage.scans import TrolleyAct
from traceability.storage.site import Place
from traceability.storage.trolley_acts import last_act


@dataclass(frozen=True, slots=True, kw_only=True)
class LastAct:
    """What this device did last on the prime; the strip stays until the next scan."""

    verdict: str
    code: str
    facts: dict[str, Plain]
    at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class TrolleyFacts:
    """The prime as it stands."""

    circuit_id: UUID
    number: str
    circuit_type: str
    sheet: Sheet
    place: str
    primer: str
    helper: str
    begun_at: datetime
    priming: bool
    filled: tuple[InPlace, ...]
    recorded: int
    of: int
    missing: tuple[tuple[Slot, int], ...]
    next_slot: str
    waits: str
    """The slot in question: what the last scan of this device asked about; or empty."""
    last: LastAct | None
    asked_back: tuple[LastAct, ...]
    """Scans that this device had kept without a network, that were asked back when they came, and
    that nobody has scanned again since: only the last of them is on the strip."""
    steps: StepsFacts = NO_STEPS
    paused_at: datetime | None = None
    """Since when nobody works at it; None: somebody does."""
    paused_by: str = ""
    after: int = 0
    """Number of the last act on this prime: what comes later is asked for by it."""


LATE: Final = timedelta(seconds=20)
"""A scan that comes later than this was kept on the device."""


def circuit_id(session: Session, site_id: UUID, number: str) -> UUID | None:
    """Return the id of the circuit of that number, or None."""
    circuit = circuit_by_number(session, site_id, number)
    return None if circuit is None else circuit.id


def trolley(
    session: Session, site_id: UUID, number: str, device_id: UUID, *, for_the_strip: bool = False
) -> TrolleyFacts | None:
    """Return the prime of that circuit as this device shows it, or None.

    `for_the_strip`: who primes and where is not read; the top line of the page has it already.
    """
    circuit = circuit_by_number(session, site_id, number)
    if circuit is None:
        return None
    sheet = sheet_of(session, site_id, circuit.circuit_type, circuit.sheet_version)
    if sheet is None:
        return None
    filled = in_place(session, circuit)
    act = last_act(session, circuit, device_id)
    last = None if act is None else _last(act)
    pause = open_pause(session, circuit)
    primer, helper = (None, None) if for_the_strip else pair_of(session, circuit)
    return TrolleyFacts(
        circuit_id=circuit.id,
        number=circuit.number,
        circuit_type=circuit.circuit_type,
        sheet=sheet,
        place="" if for_the_strip else _place(session, circuit),
        primer=_name(session, site_id, primer),
        helper=_name(session, site_id, helper),
        begun_at=circuit.begun_at,
        priming=phase_of(session, circuit).phase == Phase.PRIMING,
        filled=tuple(filled),
        recorded=recorded_count(sheet, filled),
        of=sheet.counted,
        missing=tuple(missing(sheet, filled)),
        next_slot=suggested(sheet, filled),
        waits=_waits(sheet, last),
        last=last,
        asked_back=_asked_back(session, circuit, device_id),
        steps=steps_facts(session, circuit),
        paused_at=pause.valid_from if pause else None,
        paused_by=_name(session, site_id, pause.paused_by) if pause else "",
        after=last_number(session, circuit),
    )


def last_number(session: Session, circuit: Circuit) -> int:
    """Return the number of the last act on this prime, of any device; 0 before the first."""
    rows = select(func.max(TrolleyAct.recorded_no)).where(
        TrolleyAct.site_id == circuit.site_id, TrolleyAct.circuit_id == circuit.id
    )
    return session.scalar(rows) or 0


def _asked_back(session: Session, circuit: Circuit, device_id: UUID) -> tuple[LastAct, ...]:
    of_device = (
        TrolleyAct.site_id == circuit.site_id,
        TrolleyAct.circuit_id == circuit.id,
        TrolleyAct.device_id == device_id,
        TrolleyAct.undone_no.is_(None),
    )
    late = _late(session, of_device)
    if not late:
        return ()
    rows = session.scalars(select(TrolleyAct).where(*of_device).order_by(TrolleyAct.recorded_no))
    found, since = [], set[str]()
    for index, act in enumerate(reversed(rows.all())):
        scan = json.loads(act.scan) or {}
        texts = {text for text in (scan.get("text"), scan.get("kept")) if text}
        is_last = index == 0
        if act.recorded_no in late and not is_last and not texts & since:
            found.append(_last(act))
        since |= texts
    return tuple(reversed(found))


def _late(session: Session, of_device: Iterable[ColumnElement[bool]]) -> set[int]:
    """Return the scans that were kept on the device and then asked back: most often none."""
    rows = (
        select(TrolleyAct.recorded_no, TrolleyAct.at, TrolleyAct.code, LedgerEvent.recorded_at)
        .join(
            LedgerEvent,
            (LedgerEvent.site_id == TrolleyAct.site_id)
            & (LedgerEvent.number == TrolleyAct.recorded_no),
        )
        .where(*of_device, TrolleyAct.verdict != "accepted")
    )
    return {
        row.recorded_no
        for row in session.execute(rows)
        if row.code not in STEP_ACTS and row.recorded_at - row.at > LATE
    }


def _last(act: TrolleyAct) -> LastAct:
    facts = json.loads(act.facts) or {}
    return LastAct(verdict=act.verdict, code=act.code, facts=facts, at=act.at)


def _waits(sheet: Sheet, last: LastAct | None) -> str:
    """Return the place that waits for a person, where the last scan was asked back."""
    if last is None or last.verdict == "accepted":
        return ""
    kind = last.facts.get("kind")
    return next((slot.id for slot in sheet.slots if slot.kind == kind), "")


def _place(session: Session, circuit: Circuit) -> str:
    rows = (
        select(Place.name)
        .join(
            CircuitPlace,
            (CircuitPlace.site_id == Place.site_id) & (CircuitPlace.place_id == Place.id),
        )
        .where(
            CircuitPlace.site_id == circuit.site_id,
            CircuitPlace.circuit_id == circuit.id,
            CircuitPlace.valid_to.is_(None),
            CircuitPlace.superseded_no.is_(None),
        )
    )
    return session.scalar(rows) or ""


def _name(session: Session, site_id: UUID, person_id: UUID | None) -> str:
    person = person_id and session.get(Person, (site_id, person_id))
    return person.name if person else ""


def unknown_code(
    session: Session, site_id: UUID, number: str, device_id: UUID
) -> tuple[str, str] | None:
    """Return standard and identifier of the code this device asked about last, if it is unknown.

    The text of a code of no agency is read from where it is kept apart.
    """
    circuit = circuit_by_number(session, site_id, number)
    act = circuit and last_act(session, circuit, device_id)
    if not act or act.code != "unknown-product":
        return None
    facts, scan = json.loads(act.facts), json.loads(act.scan)
    if facts["identifier"] is not None:
        return str(facts["standard"]), str(facts["identifier"])
    kept = session.get(KeptApart, UUID(scan["kept"])) if scan.get("kept") else None
    return None if kept is None or kept.text is None else ("none", kept.text)
