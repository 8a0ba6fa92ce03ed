"""One scan at the trolley: judged, linked at once if accepted, recorded in any case."""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import ClassVar, Final
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.actions.on_circuit import the_circuit
from traceability.actions.once import Asked, Done, Site, answer_once, ledger_of
from traceability.actions.prime.placing import Attempt, place_piece, understood_facts
from traceability.actions.prime.scanned import Question, Scan, may_be_kept, read_scan, understand
from traceability.actions.prime.typed import Typed, require_typed
from traceability.domain.circuits import Phase
from traceability.domain.moments import believed_moment
from traceability.domain.parts import Known
from traceability.domain.people import Right
from traceability.domain.scan_checks import right_past
from traceability.domain.trolley import WAY_ON, Finding, Verdict
from traceability.errors import NotAllowed, NothingToKeep
from traceability.security.roles import rights_of_person
from traceability.storage.circuits import Circuit
from traceability.storage.kept_apart import KeptApart
from traceability.storage.lookup import phase_of
from traceability.storage.people import Person
from traceability.storage.scans import TrolleyAct
from traceability.storage.trolley_acts import last_act

LACKING: Final = {Finding.LOT_NOT_IN_CODE, Finding.SERIAL_NOT_IN_CODE}
"""Findings after which a person may type what the code does not carry."""
CLASHES: Final = (
    Finding.SAME_SERIAL_ELSEWHERE,
    Finding.ALL_RECORDED,
    Finding.OTHER_DEVICE,
)
"""What another device did meanwhile. A scan that waited on its device has happened: it is written
beside the other claim, and a person looks at both."""

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
    typed: Typed = field(default_factory=Typed)
    """What a person read from the print, where the code does not carry it."""


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
        waived=CLASHES if asked.sent.waited else (),
    )
    return process_scan(scan, asked, asked.circuit_id, asked.at, session, site, {})


def _go_on(asked: GoOn, session: Session, site: Site) -> Done:
    circuit = the_circuit(session, site, asked.circuit_id)
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
    elif act.code in LACKING and asked.typed != Typed():
        scan, said = replace(scan, typed=require_typed(asked.typed), known=Known.TYPED), {}
    elif act.code == "unknown-product" and not asked.reason:
        said = {}  # The product is known now: the same scan is judged again.
    elif act.code == "carton" and asked.units > 0:
        scan = replace(scan, units=asked.units, counted=True, known=Known.COUNTED)
    elif act.code in set(WAY_ON) and asked.reason:
        right = right_past(Finding(act.code), act.verdict)
        if right not in rights_of_person(session, site.id, person_id):
            person = person_id and session.get(Person, (site.id, person_id))
            raise NotAllowed(right=right, person=person.name if person else "")
        scan = replace(scan, waived=(*scan.waived, act.code))
    else:
        raise NothingToKeep
    return process_scan(scan, asked, asked.circuit_id, asked.at, session, site, said)


def _again(asked: ScanAgain, session: Session, site: Site) -> Done:
    circuit = the_circuit(session, site, asked.circuit_id)
    act = last_act(session, circuit, asked.sent.device_id)
    scan = _scan_of(act, session) if act else None
    if act is None or scan is None or not 1 <= asked.times <= 40:  # noqa: PLR2004 - beads that fit
        raise NothingToKeep
    if act.code == "carton":
        scan = replace(scan, counted=True)
    elif act.code != Finding.PLACED:
        raise NothingToKeep
    # What somebody with the right went past was that one piece: each further one asks again.
    scan = replace(scan, units=asked.times, counted=True, known=Known.COUNTED, slot="", waived=())
    return process_scan(
        scan, asked, asked.circuit_id, asked.at, session, site, {}, same_scan_counts=True
    )


def _scan_of(act: TrolleyAct, session: Session) -> Scan | None:
    body = json.loads(act.scan)
    if body is None:
        return None
    if body.get("kept") is not None:
        kept = session.get(KeptApart, UUID(body["kept"]))
        return None if kept is None or kept.text is None else read_scan(body, kept.text)
    return None if body.get("text") is None else read_scan(body, body["text"])


def process_scan(
    scan: Scan,
    asked: Asked,
    circuit_id: UUID,
    device_at: datetime,
    session: Session,
    site: Site,
    said: Mapping[str, object],
    *,
    same_scan_counts: bool = False,
    other_half: Scan | None = None,
) -> Done:
    """Judge a scan and record what came of it.

    `said` is what a person said to it, as it is to stand in the event. `same_scan_counts`: the same
    code a moment ago is known to be another piece. `other_half` is the other symbol on the pack;
    None: what this device scanned just before may be it.
    """
    circuit = the_circuit(session, site, circuit_id)
    ledger = ledger_of(asked, session, site)
    # A clock that is years behind would else make an expired part seem good.
    at, noted = believed_moment(device_at, now=ledger.now, not_before=circuit.begun_at)
    context = Attempt(ledger, circuit, scan, at, device_at, noted, said)
    if len(scan.text) > LONGEST or not scan.text.strip():
        code = "too-long" if scan.text.strip() else "empty"
        question = Question(
            code="unreadable",
            facts={"reason": code, "length": len(scan.text)},
            keeps_text=False,
        )
        return context.question(question, Verdict.LOOK_AGAIN)
    if Phase(phase_of(session, circuit).phase) is not Phase.PRIMING:
        kept = may_be_kept(scan, at.astimezone(site.zone).date())
        question = Question(code="prime-has-ended", facts={}, keeps_text=kept)
        return context.question(question, Verdict.LOOK_AGAIN)
    before = other_half or _half_before(session, circuit, asked)
    today = at.astimezone(site.zone).date()
    understood = understand(scan, before, session, circuit, today)
    if isinstance(understood, Question):
        return context.question(understood, Verdict.LOOK_AGAIN)
    if understood.level_units > 1 and not scan.counted:
        facts = understood_facts(understood) | {"units": understood.level_units}
        question = Question(code="carton", facts=facts, harmless=True)
        return context.question(question, Verdict.LOOK_AGAIN)
    return place_piece(context, understood, site, same_scan_counts=same_scan_counts)


def _half_before(session: Session, circuit: Circuit, asked: Asked) -> Scan | None:
    """Return what this device scanned just before, if it waits for its other half."""
    previous = last_act(session, circuit, asked.sent.device_id)
    if previous is None or previous.code not in {"half-label", Finding.LOT_NOT_IN_CODE}:
        return None
    return _scan_of(previous, session)
