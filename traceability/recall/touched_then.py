"""What there was in a stretch of time: circuits begun, on a patient, or in the same place."""

from datetime import datetime, timedelta
from typing import Final
from uuid import UUID

from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from traceability.recall.asked_about import COUNT_MOST
from traceability.recall.cut import Cut
from traceability.recall.record import not_superseded
from traceability.storage.base import believed_at
from traceability.storage.circuits import Circuit, CircuitPlace
from traceability.storage.runs import CircuitOnRun

LONGEST_STAY: Final = timedelta(days=1_100)
"""A circuit that was on a patient, or stood in a place, without a break for longer before a day is
not looked for on that day; what goes on still is found however long. Common practice, no source."""


def meets(
    start: datetime, end: datetime | None, other: datetime, other_end: datetime | None
) -> bool:
    """Tell whether two stretches of time share a moment; an empty one shares none."""
    last = min((each for each in (end, other_end) if each is not None), default=None)
    return last is None or max(start, other) < last


def circuits_begun_between(
    session: Session, start: datetime, end: datetime, cut: Cut
) -> list[UUID]:
    """Return the circuits whose prime began, or that came in, in a span."""
    rows = (
        select(Circuit.id)
        .where(
            Circuit.site_id.in_(cut.sites),
            Circuit.begun_at >= start,
            Circuit.begun_at < end,
            Circuit.begun_no + 0 <= cut.number,
        )
        .order_by(Circuit.begun_at.desc())
        .limit(COUNT_MOST + 1)
    )
    return list(session.scalars(rows))


def on_runs_between(
    session: Session, start: datetime, end: datetime, cut: Cut
) -> list[CircuitOnRun]:
    """Return the times of circuits with runs that meet a span.

    Those that began in it, those that ended in it, those that still go on, and those that began
    within `LONGEST_STAY` before it and ended after it.
    """
    link = CircuitOnRun
    found: dict[tuple[UUID, int, int], CircuitOnRun] = {}
    # Of each row that was ended later an open one is left behind, superseded: those are passed over
    # in the index.
    still_open = [
        (link.valid_to.is_(None), still) for still in not_superseded(link.superseded_no, cut)
    ]
    for where in (
        (link.valid_from >= start, link.valid_from < end),
        (link.valid_to > start, link.valid_to < end),
        *still_open,
        (link.valid_from >= start - LONGEST_STAY, link.valid_from < start, link.valid_to >= end),
    ):
        # In no order: sorted by its beginning, SQLite would choose the index of that.
        rows = (
            select(link)
            .where(link.site_id.in_(cut.sites), *where, believed_at(link, cut.number))
            .limit(COUNT_MOST + 1)
        )
        for row in session.scalars(rows):
            if meets(row.valid_from, row.valid_to, start, end):
                found[row.site_id, row.recorded_no, row.line] = row
    return list(found.values())


def stood_with(
    session: Session, place_id: UUID, start: datetime, end: datetime | None, cut: Cut
) -> list[UUID]:
    """Return the circuits that stood in a place at the same time, newest first."""
    link = CircuitPlace
    rows = (
        select(link.circuit_id, link.valid_from, link.valid_to)
        .where(
            link.site_id.in_(cut.sites),
            link.place_id == place_id,
            link.valid_from >= start - LONGEST_STAY,
            or_(link.valid_to.is_(None), link.valid_to > start),
            believed_at(link, cut.number),
        )
        .order_by(link.valid_from.desc())
        .limit(COUNT_MOST)
    )
    if end is not None:
        rows = rows.where(link.valid_from < end)
    met = [
        row.circuit_id
        for row in session.execute(rows)
        if meets(row.valid_from, row.valid_to, start, end)
    ]
    return list(dict.fromkeys(met))
