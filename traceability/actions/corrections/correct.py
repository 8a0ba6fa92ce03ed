"""Set an earlier entry right: what a part was, when it happened, for which run, or not at all.

Nothing is overwritten. The correction is an entry of its own that names the earlier one; what
followed from that is superseded by the correction's number, so every earlier answer repeats.

Who may, and to what, stands in `allowed`.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar, Final
from uuid import UUID

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from traceability.actions.corrections.allowed import (
    require_can_be_void,
    require_fits,
    require_may,
)
from traceability.actions.corrections.enter import enter, lock, with_more
from traceability.actions.corrections.part_changes import PartSaid, part_changes, part_row
from traceability.actions.once import Asked, Done, Site, answer_once, ledger_of
from traceability.domain.corrections import WORDS
from traceability.domain.events import Kind, Plain, Recorded
from traceability.domain.moments import MAX_AHEAD, is_before
from traceability.domain.people import Right
from traceability.errors import (
    BadValue,
    CannotCorrect,
    UnknownCode,
    WrongMoment,
)
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
from traceability.storage.runs import Patient, Run

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
    require_may(
        session,
        event,
        asked.sent,
        by_author=bool(asked.parts) and not asked.void,
        by_anyone=asked.patient is not None and root.kind is Kind.PATIENT_SET,
    )
    about = subjects_of(session, event)
    other = _other_run(asked, session, site)
    locked = lock(session, site, with_more(about, runs=[other.id] if other else []))
    now = now_said(session, root)
    if asked.void:
        require_can_be_void(session, event, root, now)
    else:
        require_fits(event, root, now, _ways(asked))
    ledger = ledger_of(asked, session, site)
    bodies = _bodies(asked, ledger, site, event, now or root, other)
    try:
        first, last = enter(ledger, site, locked, Kind.CORRECTED, bodies, at=ledger.now)
    except CannotCorrect as refused:
        # People enter minutes: the limit's own minute is the limit.
        limit = refused.facts.get("other_at")
        if not (asked.moment and isinstance(limit, datetime) and _same_minute(asked.moment, limit)):
            raise
        for body in bodies:
            body["changes"] = {"at": moment_text(limit)}
        first, last = enter(ledger, site, locked, Kind.CORRECTED, bodies, at=ledger.now)
    return Done(
        first_no=first,
        last_no=last,
        subject=next(iter((*about.circuits, *about.runs)), None),
        code="corrected",
        facts={"number": locked.circuits[0].number if locked.circuits else ""},
    )


def _same_minute(moment: datetime, limit: datetime) -> bool:
    return moment < limit and not is_before(moment, limit)


def _ways(asked: Correct) -> set[str]:
    given = {
        "parts": bool(asked.parts),
        "time": asked.moment is not None,
        "run": bool(asked.run_number),
        "patient": asked.patient is not None,
    }
    return {way for way, is_given in given.items() if is_given}


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
