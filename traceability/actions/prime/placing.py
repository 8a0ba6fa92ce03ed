"""A scan on its way into the ledger: asked back, or its pieces put in their places."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.actions.on_circuit import the_sheet
from traceability.actions.once import Done, Site
from traceability.actions.part_rows import NOT_READ, as_read, inside_pack
from traceability.actions.prime.known_of import in_already, known_of
from traceability.actions.prime.scanned import Question, Scan, Understood
from traceability.domain.events import Kind, Plain
from traceability.domain.in_place import InPlace
from traceability.domain.parts import PartState
from traceability.domain.scan_checks import right_past
from traceability.domain.sheets import Sheet
from traceability.domain.stock_needs import comes_with_the_pack
from traceability.domain.trolley import (
    PACK_KIND,
    WAY_ON,
    Finding,
    Judgement,
    Situation,
    Verdict,
    judge,
)
from traceability.domain.use_by import Way
from traceability.errors import NothingToKeep, UnknownCode
from traceability.storage.circuits import Circuit
from traceability.storage.kept_apart import keep_apart, uuid7
from traceability.storage.ledger import OpenLedger
from traceability.storage.lookup import in_place
from traceability.storage.policies import limits_and_checks


@dataclass(frozen=True, slots=True)
class Attempt:
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


def place_piece(
    context: Attempt, understood: Understood, site: Site, *, same_scan_counts: bool
) -> Done:
    """Judge the piece, as often as a person counted it, and record what came of it."""
    session, circuit, scan = context.ledger.session, context.circuit, context.scan
    sheet = the_sheet(session, circuit)
    filled = in_place(session, circuit)
    if same_scan_counts or scan.counted:
        # A person said "again": the twin of a moment ago is meant to be another piece.
        filled = [replace(each, scanned_at=None) for each in filled]
    parts: list[dict[str, object]] = []
    waived = frozenset(Finding(code) for code in scan.waived if code in set(Finding))
    judgement: Judgement | None = None
    piece = known_of(session, site, understood, context.at)
    situation = situation_at(
        session, site, sheet, filled, at=context.at, device_id=context.ledger.sent.device_id
    )
    for _ in range(scan.units):
        judgement = judge(piece, replace(situation, filled=filled), slot=scan.slot, waived=waived)
        if judgement.finding is not Finding.PLACED:
            break
        parts.append(_part(context, understood, sheet, judgement))
        filled = with_piece(filled, understood, judgement)
    if judgement is None or not parts:
        already = in_already(sheet, filled, piece.kind)
        return _not_placed(context, understood, judgement, already)
    facts = understood_facts(understood) | _place_facts(
        sheet, filled, str(parts[-1]["slot"]), len(parts)
    )
    if context.ledger.sent.waited:
        facts |= _clash(understood, sheet, parts)
    if len(parts) < scan.units:
        facts["not_placed"] = scan.units - len(parts)
    slot = sheet.slot(str(parts[-1]["slot"]))
    from_shelf = slot is None or not comes_with_the_pack(slot)
    if from_shelf and piece.never_received:
        facts["not_in_book"] = True
    if understood.piece.kind == PACK_KIND:
        inside = inside_pack(sheet, filled, parts[0], context.ledger.now)
        facts["inside"] = len(inside)
        parts += inside
    return context.placed(parts, Finding.PLACED, facts)


def _clash(
    understood: Understood, sheet: Sheet, parts: list[dict[str, object]]
) -> dict[str, Plain]:
    """Return what was claimed twice: another device was quicker while this one had no network."""
    if understood.piece.elsewhere is not None:
        return {"clash": "piece", "circuit": understood.piece.elsewhere}
    slot = sheet.slot(str(parts[-1]["slot"]))
    over = slot is not None and int(str(parts[-1]["ordinal"])) > slot.count
    return {"clash": "place"} if over else {}


def _not_placed(
    context: Attempt,
    understood: Understood,
    judgement: Judgement | None,
    already: Mapping[str, Plain],
) -> Done:
    if judgement is None:
        raise NothingToKeep
    facts = understood_facts(understood) | dict(already) | dict(judgement.facts)
    if judgement.finding in set(WAY_ON):
        facts["way_on"] = right_past(judgement.finding, judgement.verdict)
    if judgement.choices:
        facts["choices"] = [list(choice) for choice in judgement.choices]
    question = Question(code=judgement.finding, facts=facts, harmless=True)
    # One pull of the trigger that arrived twice: said, recorded, and nothing added.
    twice = judgement.finding is Finding.SAME_SCAN
    return context.question(question, Verdict.ACCEPTED if twice else judgement.verdict)


def situation_at(
    session: Session,
    site: Site,
    sheet: Sheet,
    filled: Sequence[InPlace],
    *,
    at: datetime,
    device_id: UUID,
) -> Situation:
    """Return the prime as it stands at a moment, for who scans at that device."""
    limits, checks = limits_and_checks(session, site.id)
    today = at.astimezone(site.zone).date()
    return Situation(
        sheet=sheet,
        filled=filled,
        today=today,
        planned_use_by=today + timedelta(days=limits.days(Way(sheet.way))),
        at=at,
        device_id=device_id,
        checks=checks,
    )


def with_piece(
    filled: Sequence[InPlace], understood: Understood, judgement: Judgement
) -> list[InPlace]:
    """Return what the places hold once the piece stands where it was judged to go."""
    where = (judgement.slot, judgement.ordinal)
    return [
        *(each for each in filled if (each.slot, each.ordinal) != where),
        InPlace(
            slot=judgement.slot,
            ordinal=judgement.ordinal,
            state=PartState.RECORDED,
            product_id=understood.product.id,
            kind=understood.piece.kind,
            lot=understood.piece.lot,
            serial=understood.piece.serial,
        ),
    ]


def _part(
    context: Attempt, understood: Understood, sheet: Sheet, judgement: Judgement
) -> dict[str, object]:
    slot = sheet.slot(judgement.slot)
    if slot is None:
        raise UnknownCode(what="place", value=judgement.slot)
    return {
        **NOT_READ,
        **as_read(understood),
        "part": uuid7(context.ledger.now),
        "slot": slot.id,
        "ordinal": judgement.ordinal,
        "leaves": slot.leaves,
        "stays": slot.stays,
        "disputed": judgement.disputed,
    }


def understood_facts(understood: Understood) -> dict[str, Plain]:
    """Return what a sentence says of the piece in the hand."""
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
