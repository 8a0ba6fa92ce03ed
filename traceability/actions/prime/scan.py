"""One scan at the trolley: judged, linked at once if accepted, recorded in any case."""

import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import ClassVar, Final
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.actions.once import Asked, Done, Site, answer_once, ledger_of
from traceability.actions.prime.scanned import (
    Question,
    Scan,
    Understood,
    is_personal,
    read_scan,
    understand,
)
from traceability.domain.circuits import Phase
from traceability.domain.events import Kind, Plain
from traceability.domain.moments import believed_moment
from traceability.domain.parts import Known, PartState
from traceability.domain.people import Right
from traceability.domain.sheets import Sheet, Where
from traceability.domain.trolley import (
    PACK_KIND,
    WAY_ON,
    Finding,
    InPlace,
    Judgement,
    Situation,
    Verdict,
    free_places,
    judge,
)
from traceability.domain.use_by import Way
from traceability.errors import NotAllowed, NothingToKeep, UnknownCode
from traceability.security.roles import rights_of_person
from traceability.storage.circuits import Circuit
from traceability.storage.kept_apart import KeptApart, keep_apart, uuid7
from traceability.storage.ledger import OpenLedger
from traceability.storage.lookup import (
    in_place,
    last_act,
    locked_circuit,
    newest_policy,
    phase_of,
    sheet_of,
)
from traceability.storage.people import Person
from traceability.storage.scans import TrolleyAct

LONGEST: Final = 400
"""A product code longer than this is not kept; only its length is (identifier rule R-1)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ScanPart(Asked):
    """A pack, bag or part was scanned into this prime."""

    kind: ClassVar[str] = "scan-part"
    right: ClassVar[Right | None] = Right.ACT
    circuit_id: UUID
    text: str
    """The characters as the scanner sent them."""
    at: datetime
    symbology_identifier: str | None = None
    channel: str = "physical-keys"
    """ "keyboard" where only typed text reached us and the layout is not proven."""
    slot: str = ""
    """A place the person pointed at; empty: the sheet's order decides."""
    known: str = Known.SCANNED


@dataclass(frozen=True, slots=True, kw_only=True)
class GoOn(Asked):
    """A person answers what the last scan of this device asked: keep it, needed now, a choice."""

    kind: ClassVar[str] = "go-on"
    right: ClassVar[Right | None] = Right.ACT
    circuit_id: UUID
    at: datetime
    reason: str = ""
    """Code of the reason; needed wherever a finding is gone past."""
    by: UUID | None = None
    """Who goes on, told by their badge; None: who is signed in."""
    slot: str = ""
    reading: str = ""
    """ "as-read" or "alternative", after comparing with the print."""
    units: int = 0
    """How many pieces of a carton go in."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ScanAgain(Asked):
    """The same piece again, so many times: "same again", or a count after a carton."""

    kind: ClassVar[str] = "scan-again"
    right: ClassVar[Right | None] = Right.ACT
    circuit_id: UUID
    at: datetime
    times: int = 1


def scan_part(asked: ScanPart, *, site: Site) -> Done:
    """Judge the scan; link the part if it is accepted; record it in any case.

    Raises:
        UnknownCode: no such circuit. Nothing was written. All else is a verdict, not a refusal.
    """
    return answer_once(asked, _scan, site)


def go_on(asked: GoOn, *, site: Site) -> Done:
    """Judge the device's last questioned scan again, past what the person has answered.

    Raises:
        NothingToKeep: the last act of this device asked nothing that this answers.
        NotAllowed: who goes on does not hold the right. Nothing was written.
    """
    return answer_once(asked, _go_on, site)


def scan_again(asked: ScanAgain, *, site: Site) -> Done:
    """Count the last accepted piece of this device again.

    Raises:
        NothingToKeep: this device has placed nothing yet. Nothing was written.
    """
    return answer_once(asked, _again, site)


def _scan(asked: ScanPart, session: Session, site: Site) -> Done:
    scan = Scan(
        text=asked.text,
        symbology_identifier=asked.symbology_identifier,
        channel=asked.channel,
        slot=asked.slot,
        known=asked.known,
    )
    return _process(scan, asked, asked.circuit_id, asked.at, session, site, {})


def _go_on(asked: GoOn, session: Session, site: Site) -> Done:
    circuit = _circuit(session, site, asked.circuit_id)
    act = last_act(session, circuit, asked.sent.device_id)
    scan = _scan_of(act, session) if act else None
    if act is None or scan is None or act.verdict == Verdict.ACCEPTED:
        raise NothingToKeep
    person_id = asked.by or asked.sent.actor_id
    said: dict[str, object] = {"reason": asked.reason, "gone_past": act.code, "by": person_id}
    if act.code == Finding.WHICH_PLACE and asked.slot:
        scan, said = replace(scan, slot=asked.slot), {}
    elif act.code == "compare" and asked.reading in {"as-read", "alternative"}:
        scan = replace(scan, chosen=asked.reading)
    elif act.code == "unknown-product" and not asked.reason:
        said = {}  # The product is known now: the same scan is judged again.
    elif act.code == "carton" and asked.units > 0:
        scan = replace(scan, units=asked.units, counted=True, known=Known.COUNTED)
    elif act.code in set(WAY_ON) and asked.reason:
        right = WAY_ON[Finding(act.code)]
        if right not in rights_of_person(session, site.id, person_id):
            person = person_id and session.get(Person, (site.id, person_id))
            raise NotAllowed(right=right, person=person.name if person else "")
        scan = replace(scan, waived=(*scan.waived, act.code))
    else:
        raise NothingToKeep
    return _process(scan, asked, asked.circuit_id, asked.at, session, site, said)


def _again(asked: ScanAgain, session: Session, site: Site) -> Done:
    circuit = _circuit(session, site, asked.circuit_id)
    act = last_act(session, circuit, asked.sent.device_id)
    scan = _scan_of(act, session) if act else None
    if act is None or scan is None or not 1 <= asked.times <= 40:  # noqa: PLR2004 - beads that fit
        raise NothingToKeep
    if act.code == "carton":
        scan = replace(scan, counted=True)
    elif act.code != Finding.PLACED:
        raise NothingToKeep
    scan = replace(scan, units=asked.times, counted=True, known=Known.COUNTED, slot="")
    return _process(
        scan, asked, asked.circuit_id, asked.at, session, site, {}, same_scan_counts=True
    )


def _circuit(session: Session, site: Site, circuit_id: UUID) -> Circuit:
    circuit = locked_circuit(session, site.id, circuit_id)
    if circuit is None:
        raise UnknownCode(what="circuit", value=str(circuit_id))
    return circuit


def _scan_of(act: TrolleyAct, session: Session) -> Scan | None:
    body = json.loads(act.scan)
    if body is None:
        return None
    if body.get("kept") is not None:
        kept = session.get(KeptApart, UUID(body["kept"]))
        return None if kept is None or kept.text is None else read_scan(body, kept.text)
    return None if body.get("text") is None else read_scan(body, body["text"])


def _process(
    scan: Scan,
    asked: Asked,
    circuit_id: UUID,
    device_at: datetime,
    session: Session,
    site: Site,
    said: Mapping[str, object],
    *,
    same_scan_counts: bool = False,
) -> Done:
    circuit = _circuit(session, site, circuit_id)
    ledger = ledger_of(asked, session, site)
    at, noted = believed_moment(device_at, now=ledger.now)
    context = _Act(ledger, circuit, scan, at, device_at, noted, said)
    if len(scan.text) > LONGEST or not scan.text.strip():
        code = "too-long" if scan.text.strip() else "empty"
        facts: dict[str, Plain] = {"reason": code, "length": len(scan.text)}
        return context.question(
            Question(code="unreadable", facts=facts, keeps_text=False), Verdict.LOOK_AGAIN
        )
    if Phase(phase_of(session, circuit).phase) is not Phase.PRIMING:
        question = Question(code="prime-has-ended", facts={}, keeps_text=not is_personal(scan.text))
        return context.question(question, Verdict.LOOK_AGAIN)
    previous = last_act(session, circuit, asked.sent.device_id)
    half = previous is not None and previous.code in {"half-label", Finding.LOT_NOT_IN_CODE}
    before = _scan_of(previous, session) if previous is not None and half else None
    today = at.astimezone(site.zone).date()
    understood = understand(scan, before, session, circuit, today)
    if isinstance(understood, Question):
        return context.question(understood, Verdict.LOOK_AGAIN)
    if understood.level_units > 1 and not scan.counted:
        facts = _facts(understood) | {"units": understood.level_units}
        question = Question(code="carton", facts=facts, harmless=True)
        return context.question(question, Verdict.LOOK_AGAIN)
    return _place(context, understood, site, same_scan_counts=same_scan_counts)


@dataclass(frozen=True, slots=True)
class _Act:
    """One scan on its way into the ledger."""

    ledger: OpenLedger
    circuit: Circuit
    scan: Scan
    at: datetime
    device_at: datetime
    noted: tuple[str, ...]
    said: Mapping[str, object]

    def question(self, question: Question, verdict: Verdict) -> Done:
        """Record that the scan was asked back; its text only where it may stand."""
        scan: dict[str, object] = self.scan.body() | {"text": None}
        if question.harmless:
            scan["text"] = self.scan.text
        elif question.keeps_text:
            scan |= keep_apart(self.ledger.session, self.scan.text, at=self.ledger.now)
        return self._record(
            Kind.SCAN_QUESTIONED, verdict, question.code, dict(question.facts), scan, []
        )

    def placed(self, parts: list[dict[str, object]], code: str, facts: dict[str, Plain]) -> Done:
        """Record the parts that were accepted."""
        scan = self.scan.body() | {"text": self.scan.text}
        disputed = any(part["disputed"] for part in parts)
        done = self._record(Kind.PART_PLACED, Verdict.ACCEPTED, code, facts, scan, parts)
        return replace(done, disputed=disputed)

    def _record(
        self,
        kind: Kind,
        verdict: Verdict,
        code: str,
        facts: dict[str, Plain],
        scan: Mapping[str, object],
        parts: list[dict[str, object]],
    ) -> Done:
        body = {
            "circuit": self.circuit.id,
            "verdict": verdict,
            "code": code,
            "facts": facts,
            "scan": scan,
            "parts": parts,
            "device_at": self.device_at,
            "cautions": self.noted,
            "said": self.said,
        }
        number = self.ledger.append(kind, body, happened_at=self.at)
        return Done(
            first_no=number,
            last_no=number,
            subject=self.circuit.id,
            code=code,
            verdict=verdict,
            facts=facts,
            cautions=self.noted,
        )


def _place(context: _Act, understood: Understood, site: Site, *, same_scan_counts: bool) -> Done:
    session, circuit, scan = context.ledger.session, context.circuit, context.scan
    sheet = sheet_of(session, site.id, circuit.circuit_type, circuit.sheet_version)
    if sheet is None:
        raise UnknownCode(what="circuit type", value=circuit.circuit_type)
    filled = in_place(session, circuit)
    if same_scan_counts or scan.counted:
        # A person said "again": the twin of a moment ago is meant to be another piece.
        filled = [replace(each, scanned_at=None) for each in filled]
    parts: list[dict[str, object]] = []
    waived = frozenset(Finding(code) for code in scan.waived if code in set(Finding))
    judgement: Judgement | None = None
    for _ in range(scan.units):
        situation = _situation(context, sheet, filled, site)
        judgement = judge(understood.piece, situation, slot=scan.slot, waived=waived)
        if judgement.finding is not Finding.PLACED:
            break
        parts.append(_part(context, understood, sheet, judgement))
        filled = [
            each
            for each in filled
            if (each.slot, each.ordinal) != (judgement.slot, judgement.ordinal)
        ]
        filled.append(
            InPlace(
                slot=judgement.slot,
                ordinal=judgement.ordinal,
                state=PartState.RECORDED,
                product_id=understood.product.id,
                kind=understood.piece.kind,
                lot=understood.piece.lot,
                serial=understood.piece.serial,
            )
        )
    if judgement is None or not parts:
        return _not_placed(context, understood, judgement)
    facts = _facts(understood) | _place_facts(sheet, filled, str(parts[-1]["slot"]), len(parts))
    if len(parts) < scan.units:
        facts["not_placed"] = scan.units - len(parts)
    if understood.piece.kind == PACK_KIND:
        inside = _inside_pack(context, sheet, filled, parts[0])
        facts["inside"] = len(inside)
        parts += inside
    return context.placed(parts, Finding.PLACED, facts)


def _not_placed(context: _Act, understood: Understood, judgement: Judgement | None) -> Done:
    if judgement is None:
        raise NothingToKeep
    facts = _facts(understood) | dict(judgement.facts)
    if judgement.choices:
        facts["choices"] = [list(choice) for choice in judgement.choices]
    if judgement.finding is Finding.SAME_SCAN:
        # One pull of the trigger that arrived twice: said, recorded, and nothing added.
        question = Question(code=judgement.finding, facts=facts, harmless=True)
        return context.question(question, Verdict.ACCEPTED)
    question = Question(code=judgement.finding, facts=facts, harmless=True)
    return context.question(question, judgement.verdict)


def _situation(context: _Act, sheet: Sheet, filled: list[InPlace], site: Site) -> Situation:
    _, limits = newest_policy(context.ledger.session, site.id)
    today = context.at.astimezone(site.zone).date()
    days = limits.days(Way(sheet.way))
    return Situation(
        sheet=sheet,
        filled=filled,
        today=today,
        planned_use_by=today + timedelta(days=days),
        at=context.at,
        device_id=context.ledger.sent.device_id,
    )


def _part(
    context: _Act, understood: Understood, sheet: Sheet, judgement: Judgement
) -> dict[str, object]:
    piece, slot = understood.piece, sheet.slot(judgement.slot)
    if slot is None:
        raise UnknownCode(what="place", value=judgement.slot)
    return {
        "part": _new_id(context),
        "slot": slot.id,
        "ordinal": judgement.ordinal,
        "kind": piece.kind,
        "state": PartState.RECORDED if piece.lot or piece.serial else PartState.LOT_NOT_RECORDED,
        "known": piece.known,
        "product": understood.product.id,
        "lot": piece.lot,
        "lot_id": understood.lot_id,
        "serial": piece.serial,
        "unit": understood.unit_id,
        "expiry": understood.expiry_printed,
        "expiry_day": piece.expiry.isoformat() if piece.expiry else None,
        "volume_ml": piece.volume_ml,
        "leaves": slot.leaves,
        "stays": slot.where is Where.FLUID and not slot.leaves,
        "pack": None,
        "disputed": judgement.disputed,
    }


def _inside_pack(
    context: _Act, sheet: Sheet, filled: list[InPlace], pack: Mapping[str, object]
) -> list[dict[str, object]]:
    slots = [slot for slot in sheet.slots if slot.inside_pack and slot.where is not Where.PACK]
    return [
        {
            "part": _new_id(context),
            "slot": slot_id,
            "ordinal": ordinal,
            "kind": next(slot.kind for slot in slots if slot.id == slot_id),
            "state": PartState.INSIDE_PACK,
            "known": Known.PACK,
            "product": None,
            "lot": None,
            "lot_id": None,
            "serial": None,
            "unit": None,
            "expiry": None,
            "expiry_day": None,
            "volume_ml": None,
            "leaves": next(slot.leaves for slot in slots if slot.id == slot_id),
            "stays": False,
            "pack": pack["part"],
            "disputed": False,
        }
        for slot_id, ordinal in free_places(slots, filled)
    ]


def _new_id(context: _Act) -> UUID:
    return uuid7(context.ledger.now)


def _facts(understood: Understood) -> dict[str, Plain]:
    piece = understood.piece
    return {
        "name": piece.substance or piece.name,
        "kind": piece.kind,
        "maker": piece.maker,
        "lot": piece.lot,
        "serial": piece.serial,
        "expiry": understood.expiry_printed,
        "volume_ml": piece.volume_ml,
        "product": str(understood.product.id),
    }


def _place_facts(sheet: Sheet, filled: list[InPlace], slot_id: str, added: int) -> dict[str, Plain]:
    slot = sheet.slot(slot_id)
    if slot is None:
        return {}
    inside = [each for each in filled if each.slot == slot_id]
    same = {each.lot for each in inside}
    return {
        "slot": slot_id,
        "place": slot.name,
        "count": slot.count,
        "which": len(inside),
        "added": added,
        "same_lot": len(inside) > 1 and len(same) == 1,
    }
