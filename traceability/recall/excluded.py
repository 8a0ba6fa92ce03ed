"""The circuits that an answer excludes, each with its own reason, a page at a time."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.domain.parts import PartState
from traceability.recall.answer import Answer
from traceability.recall.open_primes import stopped_primes
from traceability.recall.record import blocks
from traceability.storage.base import believed_at
from traceability.storage.circuits import Circuit, Part

REASONS: Final = ("not_fitted", "no_such_part", "other_lot", "prime_stopped")
"""Codes of why a circuit is excluded: not fitted, none of the kind, another lot, prime stopped."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Excluded:
    """A circuit that cannot hold what is asked for."""

    circuit_id: UUID
    number: str
    circuit_type: str
    reason: str
    begun_no: int
    """Where the next page begins: `before` of `excluded_rows`."""


def excluded_rows(
    session: Session, answer: Answer, *, before: int | None = None, limit: int = 200
) -> list[Excluded]:
    """Return the newest excluded circuits; the next page by the last row's `begun_no`."""
    shown = {row.circuit_id for row in answer.circuits}
    found: list[Excluded] = []
    while len(found) < limit:
        last = answer.cut.number if before is None else before - 1
        rows = (
            select(Circuit.id, Circuit.number, Circuit.circuit_type, Circuit.begun_no)
            .where(Circuit.site_id.in_(answer.cut.sites), Circuit.begun_no <= last)
            .order_by(Circuit.begun_no.desc())
            .limit(limit)
        )
        page = session.execute(rows).all()
        if not page:
            break
        before = page[-1].begun_no
        out = [row for row in page if row.id not in shown]
        ids = [row.id for row in out]
        states = _states(session, answer, ids)
        stopped = stopped_primes(session, ids, answer.kinds, answer.cut)
        found += [
            Excluded(
                circuit_id=row.id,
                number=row.number,
                circuit_type=row.circuit_type,
                reason=_reason(row.id in stopped, states.get(row.id, ())),
                begun_no=row.begun_no,
            )
            for row in out
        ]
    return found[:limit]


def _reason(stopped: bool, states: Iterable[str]) -> str:
    if stopped:
        return "prime_stopped"
    fitted = [state for state in states if state != PartState.NOT_FITTED]
    if fitted:
        return "other_lot"
    return "not_fitted" if list(states) else "no_such_part"


def _states(session: Session, answer: Answer, ids: list[UUID]) -> dict[UUID, list[str]]:
    found: dict[UUID, list[str]] = {}
    for block in blocks(ids):
        rows: Any = select(Part.circuit_id, Part.state).where(
            Part.site_id.in_(answer.cut.sites),
            Part.circuit_id.in_(block),
            believed_at(Part, answer.cut.number),
        )
        if answer.kinds:
            rows = rows.where(Part.kind.in_(sorted(answer.kinds)))
        for row in session.execute(rows):
            found.setdefault(row.circuit_id, []).append(row.state)
    return found
