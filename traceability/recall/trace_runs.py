"""The runs of a trace, and how many circuits of it fall into each month."""

from collections.abc import Sequence
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.domain.trace import Node, Sort
from traceability.recall.cut import Cut
from traceability.recall.exposure import blocks
from traceability.storage.base import believed_at
from traceability.storage.circuits import Circuit
from traceability.storage.corrections import RunEnd
from traceability.storage.runs import CircuitOnRun, Run


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


def months(
    session: Session, circuit_ids: Sequence[UUID], cut: Cut, zone_name: str
) -> dict[str, tuple[int, int]]:
    """Return how many of these circuits began, and came to a patient, in each local month."""
    zone, found = ZoneInfo(zone_name), dict[str, list[int]]()
    for block in blocks(circuit_ids):
        begun = select(Circuit.begun_at).where(
            Circuit.site_id.in_(cut.sites), Circuit.id.in_(block)
        )
        on_run = select(CircuitOnRun.valid_from).where(
            CircuitOnRun.site_id.in_(cut.sites),
            CircuitOnRun.circuit_id.in_(block),
            believed_at(CircuitOnRun, cut.number),
        )
        for which, rows in enumerate((begun, on_run)):
            for at in session.scalars(rows):
                month = f"{at.astimezone(zone):%Y-%m}"
                found.setdefault(month, [0, 0])[which] += 1
    return {month: (counts[0], counts[1]) for month, counts in sorted(found.items())}
