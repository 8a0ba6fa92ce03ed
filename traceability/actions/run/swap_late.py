"""A swap that was written on paper, or remembered: entered afterwards, as one act.

It has happened, so it is taken as told, on any circuit and in any state of it: also where nobody
has entered yet what went out. What a scan at the bedside would have stopped is a caution here.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar, Final
from uuid import UUID

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from traceability.actions.on_circuit import the_circuit
from traceability.actions.once import Asked, Done, Site, answer_once, entered, ledger_of
from traceability.actions.prime.late_parts import LatePart, rows_of
from traceability.domain.events import Kind, Plain
from traceability.domain.moments import believed_moment
from traceability.domain.people import Right
from traceability.domain.sheets import Sheet
from traceability.domain.use_by import Way
from traceability.storage.circuits import Circuit, Part
from traceability.storage.lookup import sheet_of

NO_SHEET: Final = Sheet(circuit_type="", version=0, way=Way.WET_CLOSED, fill_ml=0, slots=())
"""Of a circuit that was primed elsewhere or stands here without its record: no places are known."""


@dataclass(frozen=True, slots=True, kw_only=True)
class EnterSwapLate(Asked):
    """What a paper says of a swap; each half may be missing."""

    kind: ClassVar[str] = "enter-swap-late"
    right: ClassVar[Right | None] = Right.ACT
    circuit_id: UUID
    at: datetime
    out_slot: str = ""
    """The place that was emptied; empty: nothing went out, or nobody wrote down what."""
    out_ordinal: int = 1
    out_inside: str = ""
    """Kind of the part inside a pack that went out, where it was not the whole pack."""
    part_in: LatePart | None = None


def enter_swap_late(asked: EnterSwapLate, *, site: Site) -> Done:
    """Record what went out and what went in, at the moment told.

    Raises:
        UnknownCode: no such circuit or product. BadValue: words that are none of ours. Nothing was
        written.
    """
    return answer_once(asked, _enter, site)


def _enter(asked: EnterSwapLate, session: Session, site: Site) -> Done:
    circuit = the_circuit(session, site, asked.circuit_id)
    out = _was_in(asked, circuit, session)
    ledger = ledger_of(asked, session, site)
    at, noted = believed_moment(asked.at, now=ledger.now)
    rows, cautions = _rows_in(asked, circuit, out, session, site, at, ledger.now)
    unknown = bool(asked.out_slot) and out is None
    noted += (*cautions, *(("part-out-not-recorded",) if unknown else ()))
    slot, ordinal = _emptied(asked, rows)
    facts: dict[str, Plain] = {"number": circuit.number, "slot": asked.out_slot or slot}
    if rows and rows[0]["lot"]:
        facts["lot"] = str(rows[0]["lot"])
    body: dict[str, object] = {
        "circuit": circuit.id,
        "slot": slot,
        "ordinal": ordinal,
        "out": out and out.part_id,
        "out_inside": asked.out_inside or None,
        "out_unknown": unknown,
        "part_in": rows,
        "kept": None,
        "manner": "late",
        "reason": "",
        "by": asked.sent.actor_id,
        "verdict": "accepted",
        "code": "swap-entered-late",
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
        disputed=any(row["disputed"] is True for row in rows),
    )


def _was_in(asked: EnterSwapLate, circuit: Circuit, session: Session) -> Part | None:
    """Return the piece that went out: what is in that place, else what was there last."""
    if not asked.out_slot:
        return None
    rows = (
        select(Part)
        .filter_by(
            site_id=circuit.site_id,
            circuit_id=circuit.id,
            slot=asked.out_slot,
            ordinal=asked.out_ordinal,
            superseded_no=None,
        )
        .order_by(Part.valid_to.is_not(None), Part.valid_from.desc(), Part.recorded_no.desc())
    )
    return session.scalars(rows.limit(1)).first()


def _rows_in(
    asked: EnterSwapLate,
    circuit: Circuit,
    out: Part | None,
    session: Session,
    site: Site,
    at: datetime,
    now: datetime,
) -> tuple[list[dict[str, object]], tuple[str, ...]]:
    if asked.part_in is None:
        return [], ()
    sheet = sheet_of(session, site.id, circuit.circuit_type, circuit.sheet_version) or NO_SHEET
    day = at.astimezone(site.zone).date()
    made = rows_of([asked.part_in], sheet, session, site.id, day=day, now=now)
    rows = list(made.rows)
    same_place = (asked.part_in.slot, asked.part_in.ordinal) == (asked.out_slot, asked.out_ordinal)
    stays = out is not None and (out.stays or bool(asked.out_inside))
    if not same_place or stays:
        # What stands in that place did not go out, so nothing may take its place.
        rows[0]["ordinal"] = _free_ordinal(asked.part_in, circuit, session)
    return rows, made.cautions


def _free_ordinal(part: LatePart, circuit: Circuit, session: Session) -> int:
    of_slot = {"site_id": circuit.site_id, "circuit_id": circuit.id, "slot": part.slot}
    stands = select(Part.ordinal).filter_by(
        **of_slot, ordinal=part.ordinal, valid_to=None, superseded_no=None
    )
    if session.scalar(stands) is None:
        return part.ordinal
    return (session.scalar(select(func.max(Part.ordinal)).filter_by(**of_slot)) or 0) + 1


def _emptied(asked: EnterSwapLate, rows: list[dict[str, object]]) -> tuple[str, int]:
    """Return the place that the act empties; one where nothing stands, where it empties none."""
    if asked.out_slot and asked.out_inside:
        return f"{asked.out_slot}/{asked.out_inside}", asked.out_ordinal
    if asked.out_slot:
        return asked.out_slot, asked.out_ordinal
    return (str(rows[0]["slot"]), int(str(rows[0]["ordinal"]))) if rows else ("", 1)
