"""The runs of a trace, and how many circuits of it fall into each week, month or year."""

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from typing import Final
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.domain.trace import Node, Sort
from traceability.recall.cut import Cut
from traceability.recall.record import blocks
from traceability.storage.base import believed_at
from traceability.storage.circuits import Circuit
from traceability.storage.corrections import RunEnd
from traceability.storage.runs import Run


def run_nodes(session: Session, run_ids: Sequence[UUID], cut: Cut) -> tuple[Node, ...]:
    """Return runs as nodes, in order of time."""
    nodes: list[Node] = []
    for block in blocks(run_ids):
        over = select(RunEnd.run_id, RunEnd.valid_from).where(
            RunEnd.site_id.in_(cut.sites), RunEnd.run_id.in_(block), believed_at(RunEnd, cut.number)
        )
        ended = {row.run_id: row.valid_from for row in session.execute(over)}
        rows = select(Run.id, Run.number, Run.begun_at).where(
            Run.site_id.in_(cut.sites), Run.id.in_(block), Run.begun_no <= cut.number
        )
        nodes += [
            Node(
                sort=Sort.RUN,
                id=str(row.id),
                label=row.number,
                start=row.begun_at,
                end=ended.get(row.id),
            )
            for row in session.execute(rows)
        ]
    return tuple(
        sorted(nodes, key=lambda node: (node.start is not None and node.start, node.label))
    )


WEEKS: Final = timedelta(days=150)
MONTHS: Final = timedelta(days=5 * 366)
"""As long as this the counts are by week, by month; longer by year."""


def over_time(
    session: Session,
    circuit_ids: Sequence[UUID],
    taken: Sequence[datetime],
    cut: Cut,
    zone_name: str,
) -> dict[str, tuple[int, int]]:
    """Return how many of these circuits began, and were taken, in each local week, month or year.

    Stretches between them in which nothing was are there too, with noughts.
    """
    zone = ZoneInfo(zone_name)
    moments: tuple[list[date], list[date]] = ([], [at.astimezone(zone).date() for at in taken])
    for block in blocks(circuit_ids):
        begun = select(Circuit.begun_at).where(
            Circuit.site_id.in_(cut.sites), Circuit.id.in_(block)
        )
        moments[0].extend(at.astimezone(zone).date() for at in session.scalars(begun))
    every = [day for days in moments for day in days]
    if not every:
        return {}
    first, last = min(every), max(every)
    found = {key: [0, 0] for key in _keys(first, last)}
    for which, days in enumerate(moments):
        for day in days:
            found[_key(day, last - first)][which] += 1
    return {key: (counts[0], counts[1]) for key, counts in found.items()}


def _key(day: date, length: timedelta) -> str:
    if length <= WEEKS:
        return (day - timedelta(days=day.weekday())).isoformat()
    return f"{day:%Y-%m}" if length <= MONTHS else f"{day:%Y}"


def _keys(first: date, last: date) -> list[str]:
    days = ((last - first).days + 7) // 7 + 1
    steps = (min(first + timedelta(days=7 * step), last) for step in range(days))
    return list(dict.fromkeys(_key(day, last - first) for day in steps))
