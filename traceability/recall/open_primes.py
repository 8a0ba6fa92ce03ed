"""Primes that had not ended: an empty place of theirs does not say that nothing is in it."""

import json
from collections.abc import Sequence
from typing import Any
from uuid import UUID

from sqlalchemy import ColumnElement, Row, Select, and_, exists, not_, or_, select
from sqlalchemy.orm import Session

from traceability.domain.circuits import Origin, Phase
from traceability.domain.sheets import Sheet as BuildSheet
from traceability.domain.sheets import read_sheet
from traceability.recall.cut import Cut
from traceability.recall.record import blocks, not_superseded
from traceability.storage.base import believed_at
from traceability.storage.circuits import Circuit, CircuitPhase, Part, Sheet
from traceability.storage.runs import CircuitOnRun

__all__ = ["open_primes", "stopped_primes"]


def open_primes(session: Session, kinds: frozenset[str], cut: Cut) -> list[UUID]:
    """Return circuits with empty places of the kinds whose prime had not ended; () means any kind.

    Those being primed now, and those taken before the end. A prime that was stopped and never
    taken met nobody and stands nowhere any more: it is left out, and has that as its reason.
    """
    unended = [
        row
        for still in not_superseded(Circuit.prime_ended_no, cut)
        for row in session.execute(_own(cut).where(still, not_(_stopped(cut))))
    ]
    return _with_empty_places(session, unended, kinds, cut)


def stopped_primes(
    session: Session, ids: Sequence[UUID], kinds: frozenset[str], cut: Cut
) -> set[UUID]:
    """Return which of the circuits were stopped, never taken, and had empty places of the kinds."""
    ended = Circuit.prime_ended_no
    unended = or_(ended.is_(None), ended > cut.number)
    rows = [
        row
        for block in blocks(ids)
        for row in session.execute(_own(cut).where(Circuit.id.in_(block), unended, _stopped(cut)))
    ]
    return set(_with_empty_places(session, rows, kinds, cut))


def _own(cut: Cut) -> Select[Any]:
    columns: tuple[Any, ...] = (
        Circuit.id,
        Circuit.site_id,
        Circuit.circuit_type,
        Circuit.sheet_version,
    )
    return select(*columns).where(
        Circuit.site_id.in_(cut.sites),
        Circuit.begun_no <= cut.number,
        Circuit.origin == Origin.OWN,
    )


def _stopped(cut: Cut) -> ColumnElement[bool]:
    """Return the condition for circuits that were discarded without ever having been taken."""
    phase, taken = CircuitPhase, CircuitOnRun
    discarded = exists().where(
        phase.site_id == Circuit.site_id,
        phase.circuit_id == Circuit.id,
        # The circuit chooses the index; by phase, SQLite would read all that was ever discarded.
        phase.phase.concat("") == Phase.DISCARDED,
        phase.valid_to.is_(None),
        believed_at(phase, cut.number),
    )
    on_run = exists().where(
        taken.site_id == Circuit.site_id,
        taken.circuit_id == Circuit.id,
        believed_at(taken, cut.number),
    )
    return and_(discarded, not_(on_run))


def _with_empty_places(
    session: Session, found: Sequence[Row[Any]], kinds: frozenset[str], cut: Cut
) -> list[UUID]:
    filled = _filled(session, [row.id for row in found], kinds, cut)
    sheets: dict[tuple[UUID, str, int], BuildSheet | None] = {}
    for row in found:
        key = (row.site_id, row.circuit_type, row.sheet_version)
        if key not in sheets:
            stored = session.get(Sheet, key)
            sheets[key] = read_sheet(json.loads(stored.body)) if stored else None
    return [
        row.id
        for row in found
        if _has_empty_place(
            sheets[row.site_id, row.circuit_type, row.sheet_version],
            kinds,
            filled.get(row.id, set()),
        )
    ]


def _has_empty_place(
    sheet: BuildSheet | None, kinds: frozenset[str], filled: set[tuple[str, int]]
) -> bool:
    if sheet is None:
        return True  # Nobody knows what belongs in, so nobody knows that all is recorded.
    return any(
        (slot.id, ordinal) not in filled
        for slot in sheet.slots
        if not kinds or slot.kind in kinds
        for ordinal in range(1, slot.count + 1)
    )


def _filled(
    session: Session, ids: Sequence[UUID], kinds: frozenset[str], cut: Cut
) -> dict[UUID, set[tuple[str, int]]]:
    found: dict[UUID, set[tuple[str, int]]] = {}
    for block in blocks(ids):
        rows = select(Part.circuit_id, Part.slot, Part.ordinal).where(
            Part.site_id.in_(cut.sites),
            Part.circuit_id.in_(block),
            Part.valid_to.is_(None),
            believed_at(Part, cut.number),
        )
        if kinds:
            rows = rows.where(Part.kind.in_(sorted(kinds)))
        for row in session.execute(rows):
            found.setdefault(row.circuit_id, set()).add((row.slot, row.ordinal))
    return found
