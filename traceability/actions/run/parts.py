"""Run parts: a cannula, guide wire or reperfusion line goes into the patient, and comes out.

They are tied to the run and have times of their own: before the first circuit was taken, across a
change of circuit, and after the run's end. A one-use unit that was used before is kept as disputed.
"""

from dataclasses import dataclass, field, replace
from datetime import date, datetime
from typing import ClassVar
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.actions.on_circuit import require_goes_past
from traceability.actions.on_run import moment_within, the_run
from traceability.actions.once import Asked, Done, Site, answer_once, entered, ledger_of
from traceability.actions.prime.known_of import known_of
from traceability.actions.prime.scanned import Question, Scan, Understood, understand
from traceability.domain.at_the_run import BODY_SITES, RUN_PART_KINDS
from traceability.domain.events import Kind
from traceability.domain.moments import Manner
from traceability.domain.parts import UNKNOWN_KIND, Known, PartState
from traceability.domain.people import Right
from traceability.domain.spans import overlap, span
from traceability.domain.swap_checks import against_swap, right_to_go_on
from traceability.domain.trolley import Finding
from traceability.errors import BadScan, BadValue, UnknownCode
from traceability.storage.kept_apart import keep_apart, uuid7
from traceability.storage.run_extras import RunPart
from traceability.storage.runs import Run


@dataclass(frozen=True, slots=True, kw_only=True)
class RunPartIn(Asked):
    """A piece is put into the run's patient."""

    kind: ClassVar[str] = "run-part-in"
    right: ClassVar[Right | None] = Right.ACT
    run_id: UUID
    what: str = ""
    """Its kind, where the code does not say it; of `domain.at_the_run.RUN_PART_KINDS`."""
    body_site: str = "not recorded"
    at: datetime
    text: str = ""
    """Its code; empty with `lot_not_readable`, or where nobody scanned it."""
    lot_not_readable: bool = False
    channel: str = "physical-keys"
    reading: str = ""
    """ "as-read" or "alternative", after comparing a doubtful code with the print."""
    manner: Manner = Manner.PLANNED
    reason: str = ""
    by: UUID | None = None
    """Who goes on past a caution, told by their badge; None: who is signed in."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RunPartOut(Asked):
    """A piece is taken out of the run's patient."""

    kind: ClassVar[str] = "run-part-out"
    right: ClassVar[Right | None] = Right.ACT
    run_id: UUID
    part_id: UUID
    at: datetime
    manner: Manner = Manner.PLANNED


@dataclass(frozen=True, slots=True, kw_only=True)
class _Piece:
    """What went in, as the event's body holds it."""

    row: dict[str, object]
    cautions: tuple[str, ...] = ()
    disputed: bool = False
    kept: dict[str, str] = field(default_factory=dict)


def run_part_in(asked: RunPartIn, *, site: Site) -> Done:
    """Record the piece from `at` on.

    Raises:
        UnknownCode: no such run. BadValue: no such site in the body, or nothing says what it is.
        Planned acts only: BadScan, the code cannot be taken; CautionsFirst, NotAllowed: expired,
        on hold, used elsewhere; WrongMoment. Nothing was written.
    """
    return answer_once(asked, _in, site)


def run_part_out(asked: RunPartOut, *, site: Site) -> Done:
    """Record that it is out; its time in the patient stays on record.

    Raises:
        UnknownCode: no such piece lies in this run's patient. WrongMoment: planned acts only.
        Nothing was written.
    """
    return answer_once(asked, _out, site)


def _in(asked: RunPartIn, session: Session, site: Site) -> Done:
    run = the_run(session, site, asked.run_id)
    for name, value, allowed in (
        ("site", asked.body_site, BODY_SITES),
        ("kind", asked.what, ("", *RUN_PART_KINDS)),
    ):
        if value not in allowed:
            raise BadValue(field=name, value=value, why="not-one-of", of=allowed)
    ledger = ledger_of(asked, session, site)
    # No "not before": it may have been put in before the circuit was taken.
    at, noted = moment_within(asked.at, asked.manner, now=ledger.now, until=run.ended_at)
    piece = _piece(asked, run, session, site, at)
    cautions = (*noted, *piece.cautions)
    body = {
        "run": run.id,
        "part": uuid7(ledger.now),
        "site": asked.body_site,
        **piece.row,
        **piece.kept,
        "disputed": piece.disputed,
        "manner": asked.manner,
        "reason": asked.reason,
        "by": asked.by or asked.sent.actor_id,
        "device_at": asked.at,
        "cautions": cautions,
    }
    return entered(
        ledger,
        Kind.RUN_PART_IN,
        body,
        at=at,
        subject=UUID(str(body["part"])),
        facts={"run": run.number, "what": str(piece.row["what"])},
        disputed=piece.disputed,
    )


def _piece(asked: RunPartIn, run: Run, session: Session, site: Site, at: datetime) -> _Piece:
    if asked.lot_not_readable or not asked.text.strip():
        if not asked.what:
            raise BadValue(field="kind", value="", why="not-one-of", of=RUN_PART_KINDS)
        state = PartState.LOT_NOT_READABLE if asked.lot_not_readable else PartState.LOT_NOT_RECORDED
        return _Piece(row=_row_without_code(asked.what, state))
    chosen = asked.reading or ("" if asked.manner.refusable else "as-read")
    scan = Scan(text=asked.text, channel=asked.channel, chosen=chosen, counted=True)
    today = at.astimezone(site.zone).date()
    found = understand(scan, None, session, run, today)
    if isinstance(found, Question):
        if asked.manner.refusable:
            raise BadScan(why=found.code, **found.facts)
        kept = keep_apart(session, asked.text, at=at) if found.keeps_text else {}
        row = _row_without_code(asked.what or UNKNOWN_KIND, PartState.LOT_NOT_RECORDED)
        return _Piece(row=row, cautions=("contents-not-recorded",), kept=kept)
    found = replace(found, piece=known_of(session, site, found, at))
    return _as_read(asked, found, run, session, at, today)


def _row_without_code(what: str, state: PartState) -> dict[str, object]:
    nothing = ("product", "lot", "lot_text", "serial", "unit", "expiry", "expiry_day")
    return {**dict.fromkeys(nothing), "what": what, "state": state, "known": Known.SAID}


def _as_read(
    asked: RunPartIn, found: Understood, run: Run, session: Session, at: datetime, today: date
) -> _Piece:
    piece, findings = found.piece, list(against_swap(found.piece, None, today))
    if piece.kind not in RUN_PART_KINDS:
        if asked.manner.refusable:
            raise BadValue(field=piece.name, value=piece.kind, why="not-for-run")
        findings.insert(0, Finding.WRONG_PLACE)
    twice = found.unit_id is not None and _lies_here(session, run, found.unit_id, at)
    if twice and asked.manner.refusable:
        raise BadScan(why=Finding.SAME_SERIAL_HERE, serial=piece.serial)
    if findings and asked.manner.refusable:
        require_goes_past(asked, session, run, findings, right_to_go_on(findings))
    row = {
        "what": piece.kind,
        "product": found.product.id,
        "lot": found.lot_id,
        "lot_text": piece.lot,
        "serial": piece.serial,
        "unit": found.unit_id,
        "expiry": found.expiry_printed,
        "expiry_day": piece.expiry.isoformat() if piece.expiry else None,
        "state": PartState.RECORDED if piece.lot or piece.serial else PartState.LOT_NOT_RECORDED,
        "known": piece.known,
    }
    return _Piece(row=row, cautions=tuple(findings), disputed=twice or piece.elsewhere is not None)


def _lies_here(session: Session, run: Run, unit_id: UUID, at: datetime) -> bool:
    """Tell whether this very unit lies in the run's patient at that time, or comes in later."""
    rows = select(RunPart).filter_by(
        site_id=run.site_id, unit_id=unit_id, run_id=run.id, superseded_no=None
    )
    new = span(at, None)
    return any(
        new is not None and other is not None and overlap(new, other) is not None
        for row in session.scalars(rows)
        for other in (span(row.valid_from, row.valid_to),)
    )


def _out(asked: RunPartOut, session: Session, site: Site) -> Done:
    run = the_run(session, site, asked.run_id)
    ledger = ledger_of(asked, session, site)
    row = session.scalar(
        select(RunPart).filter_by(
            site_id=site.id,
            run_id=run.id,
            part_id=asked.part_id,
            valid_to=None,
            superseded_no=None,
        )
    )
    if row is None:
        raise UnknownCode(what="part on this run", value="")
    at, noted = moment_within(
        asked.at,
        asked.manner,
        now=ledger.now,
        since=row.valid_from,
        since_side="before-run-part-in",
    )
    body = {
        "run": run.id,
        "part": row.part_id,
        "what": row.kind,
        "manner": asked.manner,
        "device_at": asked.at,
        "cautions": noted,
    }
    return entered(
        ledger,
        Kind.RUN_PART_OUT,
        body,
        at=at,
        subject=row.part_id,
        facts={"run": run.number, "what": row.kind},
    )
