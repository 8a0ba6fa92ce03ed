"""What is given into a prime: a drug, albumin, blood. It stays in the circuit until its end.

Blood decides the use-by anew: hours, not days. Until the circuit is on a patient the new use-by
counts from the prime's end and with the policy of that prime, as the old one did; the tag that
hangs on it is then an old tag.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import ClassVar, Final
from uuid import UUID

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from traceability.actions.circuit.add_part import ended_at, is_inside
from traceability.actions.on_circuit import require_goes_past, the_circuit
from traceability.actions.on_run import moment_within
from traceability.actions.once import Asked, Done, Site, answer_once, entered, ledger_of
from traceability.actions.prime.end import expiries_in, first_in, use_by_facts
from traceability.actions.prime.known_of import known_of
from traceability.actions.prime.scanned import Question, Scan, Understood, understand
from traceability.domain.at_the_run import ADDITIVE_KIND, ADDITIVE_SLOT
from traceability.domain.circuits import Phase
from traceability.domain.events import Kind
from traceability.domain.moments import Manner
from traceability.domain.parts import Known, PartState
from traceability.domain.people import Right
from traceability.domain.sheets import BLOOD_KIND
from traceability.domain.swap_checks import against_swap, right_to_go_on
from traceability.domain.trolley import FLUID_KIND, Finding
from traceability.domain.use_by import PartExpiry, decide, opened_later
from traceability.errors import BadScan, BadValue
from traceability.storage.circuits import Circuit, Part
from traceability.storage.kept_apart import keep_apart, uuid7
from traceability.storage.lookup import phase_of, prime_of, sheet_of
from traceability.storage.policies import limits_of
from traceability.storage.shelf_lookup import stood_as

LONGEST: Final = {"name": 80, "dose": 20, "unit": 20}
KINDS: Final = (ADDITIVE_KIND, BLOOD_KIND, FLUID_KIND)
"""Kinds of products that can be given into a prime."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GiveAdditive(Asked):
    """It was given into the prime."""

    kind: ClassVar[str] = "give-additive"
    right: ClassVar[Right | None] = Right.ACT
    circuit_id: UUID
    at: datetime
    name: str = ""
    """What it is, as people say it; empty: as its product is called."""
    dose: str = ""
    unit: str = ""
    text: str = ""
    """Its code; empty: not scanned."""
    blood: bool = False
    """It is a blood component, which its product may say as well."""
    channel: str = "physical-keys"
    reading: str = ""
    manner: Manner = Manner.PLANNED
    reason: str = ""
    by: UUID | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Given:
    """What was given, as the event's body holds it."""

    row: Mapping[str, object]
    cautions: tuple[str, ...] = ()
    kept: dict[str, str] | None = None
    blood: bool = False
    expires: PartExpiry | None = None
    disputed: bool = False


def give_additive(asked: GiveAdditive, *, site: Site) -> Done:
    """Record what was given; with blood, the use-by it leaves.

    Raises:
        UnknownCode: no such circuit. BadValue: nothing says what it was, or too long a text.
        Planned acts only: BadScan, CautionsFirst, NotAllowed, WrongMoment. Nothing was written.
    """
    return answer_once(asked, _give, site)


def _give(asked: GiveAdditive, session: Session, site: Site) -> Done:
    circuit = the_circuit(session, site, asked.circuit_id)
    for field, longest in LONGEST.items():
        if len(getattr(asked, field)) > longest:
            raise BadValue(field=field, value="", why="too-long")
    phase = phase_of(session, circuit)
    ledger = ledger_of(asked, session, site)
    at, noted = moment_within(
        asked.at,
        asked.manner,
        now=ledger.now,
        since=circuit.begun_at,
        since_side="before-prime",
        until=ended_at(session, circuit, phase),
        until_side="circuit-ended",
    )
    given = _given(asked, circuit, session, site, at)
    noted += given.cautions
    body = {
        "circuit": circuit.id,
        "part": uuid7(ledger.now),
        "dose": asked.dose.strip(),
        "unit": asked.unit.strip(),
        "blood": given.blood,
        "ordinal": _next_ordinal(session, circuit),
        **given.row,
        **_use_by(circuit, given, Phase(phase.phase), at, session, site),
        "disputed": given.disputed,
        "kept": given.kept,
        "manner": asked.manner,
        "reason": asked.reason,
        "by": asked.by or asked.sent.actor_id,
        "facts": {"name": given.row["name"], "lot": given.row["lot_text"]},
        "device_at": asked.at,
        "cautions": noted,
    }
    return entered(
        ledger,
        Kind.ADDITIVE_GIVEN,
        body,
        at=at,
        subject=circuit.id,
        facts={"number": circuit.number},
        disputed=given.disputed,
    )


def _next_ordinal(session: Session, circuit: Circuit) -> int:
    highest = select(func.max(Part.ordinal)).filter_by(
        site_id=circuit.site_id, circuit_id=circuit.id, slot=ADDITIVE_SLOT
    )
    return (session.scalar(highest) or 0) + 1


def _given(
    asked: GiveAdditive, circuit: Circuit, session: Session, site: Site, at: datetime
) -> _Given:
    if not asked.text.strip():
        return _without_code(asked, PartState.LOT_NOT_RECORDED)
    today = at.astimezone(site.zone).date()
    chosen = asked.reading or ("" if asked.manner.refusable else "as-read")
    scan = Scan(text=asked.text, channel=asked.channel, chosen=chosen, counted=True)
    found = understand(scan, None, session, circuit, today)
    if isinstance(found, Question):
        if asked.manner.refusable:
            raise BadScan(why=found.code, **found.facts)
        kept = keep_apart(session, asked.text, at=at) if found.keeps_text else None
        return _without_code(asked, PartState.LOT_NOT_RECORDED, kept)
    found = replace(found, piece=known_of(session, site, found, at))
    findings = list(against_swap(found.piece, None, today))
    if found.piece.kind not in KINDS:
        if asked.manner.refusable:
            raise BadValue(field=found.piece.name, value=found.piece.kind, why="not-for-the-prime")
        findings.insert(0, Finding.WRONG_PLACE)
    twice = is_inside(session, circuit, found.piece)
    if twice and asked.manner.refusable:
        raise BadScan(why=Finding.SAME_SERIAL_HERE, serial=found.piece.serial)
    if findings and asked.manner.refusable:
        require_goes_past(asked, session, circuit, findings, right_to_go_on(findings))
    return _as_read(asked, found, tuple(findings), twice)


def _without_code(
    asked: GiveAdditive, state: PartState, kept: dict[str, str] | None = None
) -> _Given:
    name = asked.name.strip()
    if not name and asked.manner.refusable:
        raise BadValue(field="what was given", value="", why="empty")
    nothing = ("product", "lot", "lot_text", "serial", "unit_id", "expiry", "expiry_day")
    row: dict[str, object] = {
        **dict.fromkeys(nothing),
        "name": name or "not known",
        "kind": BLOOD_KIND if asked.blood else ADDITIVE_KIND,
        "state": state,
        "known": Known.SAID,
    }
    return _Given(row=row, kept=kept, blood=asked.blood)


def _as_read(
    asked: GiveAdditive, found: Understood, findings: tuple[str, ...], twice: bool
) -> _Given:
    piece = found.piece
    blood = asked.blood or piece.kind == BLOOD_KIND
    row = {
        "name": asked.name.strip() or piece.substance or piece.name,
        "kind": BLOOD_KIND if blood else ADDITIVE_KIND,
        "state": PartState.RECORDED if piece.lot or piece.serial else PartState.LOT_NOT_RECORDED,
        "known": piece.known,
        "product": found.product.id,
        "lot": found.lot_id,
        "lot_text": piece.lot,
        "serial": piece.serial,
        "unit_id": found.unit_id,
        "expiry": found.expiry_printed,
        "expiry_day": piece.expiry.isoformat() if piece.expiry else None,
    }
    expires = None
    if piece.expiry is not None:
        expires = PartExpiry(
            name=piece.name,
            lot=piece.lot,
            expiry=piece.expiry,
            day_given=found.expiry_printed == piece.expiry.isoformat(),
        )
    return _Given(
        row=row,
        cautions=findings,
        blood=blood,
        expires=expires,
        disputed=twice or piece.elsewhere is not None,
    )


def _use_by(
    circuit: Circuit, given: _Given, phase: Phase, at: datetime, session: Session, site: Site
) -> dict[str, object]:
    """Return the use-by that is left, if it is another one.

    Nothing while priming, since the prime's end decides, or once it is on a patient.
    """
    prime = prime_of(session, circuit)
    sheet = sheet_of(session, site.id, circuit.circuit_type, circuit.sheet_version)
    waits = phase in {Phase.PRIMED, Phase.TAKEN}
    if prime is None or sheet is None or not waits:
        return {}
    blood_times = [first_in(session, circuit, BLOOD_KIND), at if given.blood else None]
    blood_at = min((each for each in blood_times if each is not None), default=None)
    expiries = expiries_in(session, circuit)
    if given.expires is not None:
        expiries.append(given.expires)
    way, opened_at = stood_as(session, circuit, sheet.way)
    limits = limits_of(session, site.id, prime.policy_version)
    decided = decide(
        prime.valid_from,
        site.zone,
        way,
        blood=blood_at is not None,
        limits=limits,
        expiries=expiries,
        blood_at=blood_at,
        fluid_opened_at=first_in(session, circuit, FLUID_KIND),
    )
    if opened_at is not None:
        decided = opened_later(decided.all, opened_at, site.zone, limits)
    if decided.at == prime.use_by:
        return {}
    return {"use_by": decided.at, **use_by_facts(decided)}
