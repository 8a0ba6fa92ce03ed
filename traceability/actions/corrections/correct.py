"""Set an earlier entry right: what a part was, when it happened, for which run, or not at all.

Nothing is overwritten. The correction is an entry of its own that names the earlier one; what
followed from that is superseded by the correction's number, so every earlier answer repeats.

Who may, by our decision (common practice, no source): who rules (a charge consultant) may set
right everything. Voids, times and runs are theirs alone, since they move exposure. Everybody else
sets right what they entered themselves: what a part, its lot, serial and expiry were. The patient
of a run is for everyone who may set one, as it is the first time.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar, Final
from uuid import UUID

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from traceability.actions.corrections.enter import enter, lock, with_more
from traceability.actions.corrections.part_changes import PartSaid, part_changes, part_row
from traceability.actions.once import Asked, Done, Site, answer_once, ledger_of
from traceability.domain.corrections import words_of
from traceability.domain.events import Kind, Plain, Recorded
from traceability.domain.moments import MAX_AHEAD
from traceability.domain.people import Right
from traceability.errors import (
    BadValue,
    CannotCorrect,
    NotYoursToCorrect,
    UnknownCode,
    WrongMoment,
)
from traceability.security.roles import rights_of_person, service_device
from traceability.storage.circuits import Circuit
from traceability.storage.entries import (
    entry,
    hangs_on,
    now_said,
    spoken_of,
    subjects_of,
)
from traceability.storage.kept_apart import keep_apart, uuid7
from traceability.storage.ledger import OpenLedger
from traceability.storage.lookup import moment_text
from traceability.storage.projections.lives import BEGINS
from traceability.storage.runs import CircuitOnRun, Patient, Run

REASONS: Final = (
    "mistyped",
    "other-piece",
    "wrong-circuit",
    "wrong-time",
    "wrong-run",
    "wrong-patient",
    "practice",
    "never-happened",
    "other",
)

OF_PART: Final = frozenset({Kind.PART_PLACED, Kind.PART_SWAPPED})
IN_TIME: Final = frozenset(
    {
        Kind.CIRCUIT_TAKEN,
        Kind.FLOW_ON,
        Kind.FLOW_OFF,
        Kind.PART_SWAPPED,
        Kind.PRIME_ENDED,
        Kind.CIRCUIT_MOVED,
        Kind.CIRCUIT_DISCARDED,
        Kind.CAME_BACK_UNUSED,
        Kind.RUN_ENDED,
    }
)
WORDS: Final = frozenset({Kind.CORRECTED, Kind.CLAIM_RULED})
CAN_BE_VOID: Final = (
    (IN_TIME - {Kind.PRIME_ENDED})
    | BEGINS
    | WORDS
    | {Kind.PART_PLACED, Kind.PRIME_SIGNED, Kind.PATIENT_SET, Kind.PATIENTS_MERGED}
)
"""A prime that has ended is not un-ended: its empty places would say that nothing was in them."""
LONGEST_NOTE: Final = 400
LONGEST_REFERENCE: Final = 100


@dataclass(frozen=True, slots=True, kw_only=True)
class Correct(Asked):
    """The earlier entry is to be read like this; exactly one of the ways is given."""

    kind: ClassVar[str] = "correct"
    right: ClassVar[Right | None] = Right.ACT
    of: int
    """Number of the entry; may be a correction."""
    reason: str
    note: str = ""
    """Free text; kept apart."""
    void: bool = False
    parts: tuple[UUID, ...] = ()
    """Pieces of the entry that `state` to `expiry` are said of."""
    state: str = ""
    product_id: UUID | None = None
    lot: str = ""
    serial: str = ""
    expiry: str = ""
    moment: datetime | None = None
    """When it really happened."""
    run_number: str = ""
    """The run that the circuit was really taken for."""
    patient: str | None = None
    """The patient's reference, as read; "" gives a temporary identity."""


def correct(asked: Correct, *, site: Site) -> Done:
    """Enter the correction, or several where several pieces are named.

    Raises:
        UnknownCode: no such entry, part, run or product. NotYoursToCorrect: see the rule above.
        CannotCorrect: the record would contradict itself, or this entry is set right otherwise.
        BadValue, WrongMoment: what was typed cannot be. Nothing was written.
    """
    return answer_once(asked, _correct, site)


def _correct(asked: Correct, session: Session, site: Site) -> Done:
    if asked.reason not in REASONS:
        raise BadValue(field="reason", value=asked.reason, why="not-one-of", of=REASONS)
    if len(asked.note) > LONGEST_NOTE:
        raise BadValue(field="note", value="", why="too-long")
    event = entry(session, site.id, asked.of)
    if event is None:
        raise UnknownCode(what="entry", value=str(asked.of))
    root = spoken_of(session, event)
    _require_may(asked, session, event, root)
    about = subjects_of(session, event)
    other = _other_run(asked, session, site)
    locked = lock(session, site, with_more(about, runs=[other.id] if other else []))
    now = now_said(session, root)
    _require_fits(asked, session, event, root, now)
    ledger = ledger_of(asked, session, site)
    bodies = _bodies(asked, ledger, site, event, now or root, other)
    first, last = enter(ledger, site, locked, Kind.CORRECTED, bodies, at=ledger.now)
    return Done(
        first_no=first,
        last_no=last,
        subject=next(iter((*about.circuits, *about.runs)), None),
        code="corrected",
        facts={"number": locked.circuits[0].number if locked.circuits else ""},
    )


def _require_may(asked: Correct, session: Session, event: Recorded, root: Recorded) -> None:
    if asked.sent.device_id == service_device(event.site_id):
        return
    rights = rights_of_person(session, event.site_id, asked.sent.actor_id)
    if Right.RULE in rights:
        return
    is_patient = asked.patient is not None and root.kind is Kind.PATIENT_SET
    own = event.actor_id is not None and event.actor_id == asked.sent.actor_id
    if is_patient or (own and asked.parts and not asked.void):
        return
    raise NotYoursToCorrect


def _require_fits(
    asked: Correct, session: Session, event: Recorded, root: Recorded, now: Recorded | None
) -> None:
    """Refuse what this entry cannot be corrected to, each with its own way on."""
    if asked.void:
        if event.kind not in CAN_BE_VOID or (event.kind is Kind.CIRCUIT_TAKEN and asked.parts):
            raise CannotCorrect(why="not-void", what=event.kind)
        if event.kind in WORDS:
            if _is_void(session, event):
                raise CannotCorrect(why="is-void")
            return
        if now is None:
            raise CannotCorrect(why="is-void")
        _require_nothing_stands(session, root)
        return
    if now is None:
        raise CannotCorrect(why="is-void")
    fits = {
        "parts": not asked.parts or root.kind in OF_PART,
        "time": asked.moment is None or root.kind in IN_TIME,
        "run": not asked.run_number or root.kind is Kind.CIRCUIT_TAKEN,
        "patient": asked.patient is None or root.kind is Kind.PATIENT_SET,
    }
    if not all(fits.values()) or event.kind is Kind.CLAIM_RULED:
        raise CannotCorrect(why="not-that", what=event.kind)


def _is_void(session: Session, event: Recorded) -> bool:
    # A correction is not of the kinds that words change, so its own standing is asked for.
    return now_said(session, event) is None


def _require_nothing_stands(session: Session, root: Recorded) -> None:
    circuit_id = root.key_or_none("circuit")
    circuit = circuit_id and session.get(Circuit, (root.site_id, circuit_id))
    if not circuit:
        return
    if root.kind in BEGINS:
        taken = select(CircuitOnRun.run_id).filter_by(
            site_id=root.site_id, circuit_id=circuit_id, superseded_no=None
        )
        run_id = session.scalar(taken.limit(1))
        if run_id is not None:
            run = session.get_one(Run, (root.site_id, run_id))
            raise CannotCorrect(why="was-taken", number=circuit.number, run=run.number)
    if root.kind is Kind.PART_PLACED and circuit.prime_ended_no is not None:
        raise CannotCorrect(why="part-after-end", number=circuit.number)


def _other_run(asked: Correct, session: Session, site: Site) -> Run | None:
    if not asked.run_number:
        return None
    number = asked.run_number.strip().upper()
    run = session.scalar(select(Run).filter_by(site_id=site.id, number=number))
    if run is None:
        raise UnknownCode(what="run", value=asked.run_number)
    return run


def _bodies(
    asked: Correct,
    ledger: OpenLedger,
    site: Site,
    event: Recorded,
    now: Recorded,
    other: Run | None,
) -> list[dict[str, object]]:
    session = ledger.session
    note = keep_apart(session, asked.note.strip(), at=ledger.now) if asked.note.strip() else None
    base: dict[str, object] = {
        "of": asked.of,
        "part": None,
        "changes": None,
        "void": asked.void,
        "reason": asked.reason,
        "note": note,
        "was": now.kind,
    }
    if asked.void:
        also = [] if event.kind in WORDS else list(hangs_on(session, now))
        return [base | {"also": also}]
    if asked.parts:
        return [base | each for each in _of_parts(asked, session, site, now)]
    if asked.moment is not None:
        if asked.moment > ledger.now + MAX_AHEAD:
            raise WrongMoment(moment=asked.moment, limit=ledger.now, side="after-now")
        also = list(hangs_on(session, now)) if now.kind is Kind.FLOW_OFF else []
        changes: dict[str, object] = {"at": moment_text(asked.moment)}
        return [base | {"changes": changes, "also": also, "old": {"at": now.happened_at}}]
    if other is not None:
        if str(other.id) == now.body.get("run"):
            raise CannotCorrect(why="as-it-is")
        changes = {"run": str(other.id)}
        old = {"run": now.body.get("run")}
        return [base | {"changes": changes, "also": list(hangs_on(session, now)), "old": old}]
    if asked.patient is not None:
        return [base | _patient(asked, ledger)]
    raise CannotCorrect(why="as-it-is")


def _of_parts(
    asked: Correct, session: Session, site: Site, now: Recorded
) -> list[dict[str, object]]:
    said = PartSaid(
        state=asked.state,
        product_id=asked.product_id,
        lot=asked.lot.strip(),
        serial=asked.serial.strip(),
        expiry=asked.expiry.strip(),
    )
    if said.serial and len(asked.parts) > 1:
        raise CannotCorrect(why="one-serial")
    found: list[dict[str, object]] = []
    for part in asked.parts:
        row = part_row(now, part)
        if row is None:
            raise UnknownCode(what="part", value=str(part))
        changes = part_changes(session, site.id, row, said)
        if changes:
            found.append({"part": part, "changes": changes, "old": _old(row, changes)})
    if not found:
        raise CannotCorrect(why="as-it-is")
    return found


def _old(row: Mapping[str, Plain], changes: Mapping[str, Plain]) -> dict[str, object]:
    return {"slot": row.get("slot"), **{name: row.get(name) for name in changes}}


def _patient(asked: Correct, ledger: OpenLedger) -> dict[str, object]:
    session, reference = ledger.session, (asked.patient or "").strip()
    if len(reference) > LONGEST_REFERENCE:
        raise BadValue(field="patient reference", value="", why="too-long")
    changes: dict[str, object] = {"patient": str(uuid7(ledger.now)), "temporary": None}
    if reference:
        changes |= keep_apart(session, reference, at=ledger.now)
    else:
        given = select(func.count()).select_from(Patient)
        known = given.where(Patient.site_id == ledger.head.site_id, Patient.temporary.is_not(None))
        changes |= {"temporary": f"TEMP-{(session.scalar(known) or 0) + 1}", "kept": None}
    return {"changes": changes, "new_patient": True}


def is_correction(event: Recorded) -> bool:
    """Tell whether an entry says something of another."""
    return bool(words_of(event))
