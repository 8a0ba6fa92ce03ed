"""Swap a part while the circuit is in use: old part out, new part in, judged as at the trolley."""

from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import ClassVar
from uuid import UUID

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from traceability.actions.on_circuit import require_goes_past, the_circuit
from traceability.actions.once import Asked, Done, Site, answer_once, entered, ledger_of
from traceability.actions.part_rows import NOT_READ, as_read
from traceability.actions.prime.known_of import known_of
from traceability.actions.prime.scanned import Question, Scan, Understood, understand
from traceability.domain.circuits import Phase
from traceability.domain.events import Kind, Plain
from traceability.domain.moments import Manner, believed_moment
from traceability.domain.parts import Known, PartState
from traceability.domain.people import Right
from traceability.domain.swap_checks import against_swap, right_to_go_on
from traceability.domain.trolley import Finding
from traceability.errors import (
    BadScan,
    UnknownCode,
    WrongMoment,
    WrongState,
)
from traceability.storage.circuits import Circuit, Part
from traceability.storage.kept_apart import keep_apart, uuid7
from traceability.storage.lookup import in_place, phase_of, sheet_of


@dataclass(frozen=True, slots=True, kw_only=True)
class SwapPart(Asked):
    """The person points at the place and scans only the new part."""

    kind: ClassVar[str] = "swap-part"
    right: ClassVar[Right | None] = Right.ACT
    circuit_id: UUID
    slot: str
    ordinal: int
    at: datetime
    text: str = ""
    """The new part's code; empty with `lot_not_readable` or when nothing goes in."""
    lot_not_readable: bool = False
    channel: str = "physical-keys"
    reading: str = ""
    """ "as-read" or "alternative", after comparing a doubtful code with the print."""
    manner: Manner = Manner.PLANNED
    reason: str = ""
    """Code of the reason; needed to go on past what speaks against the new part."""
    by: UUID | None = None
    """Who goes on, told by their badge; None: who is signed in."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NewPart:
    """What goes in, and what speaks against it."""

    row: dict[str, object]
    cautions: tuple[str, ...] = ()
    kept: dict[str, str] | None = None
    """What stands for a code that nobody knows."""


def swap_part(asked: SwapPart, *, site: Site) -> Done:
    """Old part out, new part in, at the same moment.

    Raises:
        UnknownCode: no such circuit, place or part there. WrongState: the circuit is still being
        primed, or gone. BadScan: it is the very part that is in. Planned swaps only: BadScan, the
        code cannot be taken as this part, says why; CautionsFirst, NotAllowed: something speaks
        against the part; WrongMoment: before the old part went in. Nothing was written.
    """
    return answer_once(asked, _swap, site)


def _swap(asked: SwapPart, session: Session, site: Site) -> Done:
    circuit = the_circuit(session, site, asked.circuit_id)
    phase = phase_of(session, circuit).phase
    if phase in {Phase.PRIMING, Phase.DISCARDED, Phase.ENDED, Phase.KEPT}:
        raise WrongState(number=circuit.number, state=phase, act="swap")
    old = session.scalar(
        select(Part).filter_by(
            site_id=site.id,
            circuit_id=circuit.id,
            slot=asked.slot,
            ordinal=asked.ordinal,
            valid_to=None,
            superseded_no=None,
        )
    )
    if old is None:
        raise UnknownCode(what="part in this place", value=asked.slot)
    if asked.manner.refusable and asked.at < old.valid_from:
        raise WrongMoment(moment=asked.at, limit=old.valid_from, side="before-part-in")
    ledger = ledger_of(asked, session, site)
    at, noted = believed_moment(asked.at, now=ledger.now, not_before=old.valid_from)
    new = _new_part(asked, old, circuit, session, site, at)
    facts: dict[str, Plain] = {"number": circuit.number, "slot": asked.slot}
    rows: list[dict[str, object]] = []
    if new is not None:
        row = new.row | {"part": uuid7(ledger.now), "slot": asked.slot}
        row["ordinal"] = _free_ordinal(session, circuit, asked) if old.stays else asked.ordinal
        rows = [row]
        facts["lot"] = None if row["lot"] is None else str(row["lot"])
        noted += new.cautions
    disputed = any(row["disputed"] is True for row in rows)
    body: dict[str, object] = {
        "circuit": circuit.id,
        "slot": asked.slot,
        "ordinal": asked.ordinal,
        "out": old.part_id,
        "part_in": rows,
        "kept": None if new is None else new.kept,
        "manner": asked.manner,
        "reason": asked.reason,
        "by": asked.by or asked.sent.actor_id,
        "verdict": "accepted",
        "code": "swapped",
        "facts": facts,
        "scan": None,
        "device_at": asked.at,
        "cautions": noted,
    }
    return entered(
        ledger,
        Kind.PART_SWAPPED,
        body,
        at=at,
        subject=circuit.id,
        code="swapped",
        facts=facts,
        disputed=disputed,
    )


def _free_ordinal(session: Session, circuit: Circuit, asked: SwapPart) -> int:
    """A new bag gets a place of its own: the fluid of the old one stays in the circuit."""
    highest = select(func.max(Part.ordinal)).filter_by(
        site_id=circuit.site_id, circuit_id=circuit.id, slot=asked.slot
    )
    return (session.scalar(highest) or 0) + 1


def _new_part(
    asked: SwapPart, old: Part, circuit: Circuit, session: Session, site: Site, at: datetime
) -> NewPart | None:
    if asked.lot_not_readable:
        # Not the old part's product either: nobody has read whose the new one is.
        return NewPart(row=_row(old, PartState.LOT_NOT_READABLE))
    if not asked.text.strip():
        return None
    today = at.astimezone(site.zone).date()
    chosen = asked.reading or ("" if asked.manner.refusable else "as-read")
    scan = Scan(text=asked.text, channel=asked.channel, chosen=chosen, counted=True)
    found = understand(scan, None, session, circuit, today)
    if isinstance(found, Question):
        return _not_known(asked, found, old, session, at)
    found = replace(found, piece=known_of(session, site, found, at))
    cautions = _cautions(asked, found, old, circuit, session, site, today)
    disputed = found.piece.elsewhere is not None
    row = {**NOT_READ, **as_read(found), "stays": old.stays, "disputed": disputed}
    return NewPart(row=row, cautions=cautions)


def _not_known(
    asked: SwapPart, question: Question, old: Part, session: Session, at: datetime
) -> NewPart:
    """In an emergency a part is in, whatever its code says; its lot counts as not recorded."""
    if asked.manner.refusable:
        raise BadScan(why=question.code, **question.facts)
    kept = keep_apart(session, asked.text, at=at) if question.keeps_text else None
    row = _row(old, PartState.LOT_NOT_RECORDED)
    return NewPart(row=row, cautions=("contents-not-recorded",), kept=kept)


def _row(old: Part, state: PartState) -> dict[str, object]:
    return {
        **NOT_READ,
        "kind": old.kind,
        "state": state,
        "known": Known.SAID,
        "stays": old.stays,
    }


def _cautions(
    asked: SwapPart,
    found: Understood,
    old: Part,
    circuit: Circuit,
    session: Session,
    site: Site,
    today: date,
) -> tuple[str, ...]:
    """Return what speaks against the part.

    Raises:
        BadScan, CautionsFirst, NotAllowed: see `swap_part`.
    """
    piece = found.piece
    sheet = sheet_of(session, site.id, circuit.circuit_type, circuit.sheet_version)
    slot = sheet.slot(old.slot) if sheet else None
    inside = in_place(session, circuit) if piece.serial else []
    if any((each.product_id, each.serial) == (piece.product_id, piece.serial) for each in inside):
        raise BadScan(why=Finding.SAME_SERIAL_HERE, serial=piece.serial)
    findings = against_swap(piece, slot, today)
    if piece.kind != old.kind:
        if asked.manner.refusable:
            place = slot.name if slot else old.slot
            raise BadScan(why=Finding.WRONG_PLACE, place=place, name=piece.name)
        return (Finding.WRONG_PLACE, *findings)
    if findings and asked.manner.refusable:
        require_goes_past(asked, session, circuit, findings, right_to_go_on(findings))
    return findings
