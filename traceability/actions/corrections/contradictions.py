"""What in a corrected record cannot be: an interval backwards, or a circuit in two places.

Only what a correction brings in counts against it. The record may hold oddities of its own (a
queue came late, two clocks differ), and a person must be able to set right one of them at a time.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from typing import Any

from traceability.domain.events import Kind
from traceability.storage.base import Link
from traceability.storage.circuits import CircuitPhase, CircuitPlace, Part, Prime
from traceability.storage.projections.lives import Life
from traceability.storage.runs import CircuitOnRun

__all__ = ["Contradiction", "contradictions"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Contradiction:
    """Two things that cannot both be."""

    why: str
    """ "backwards": the entry comes before what it ends or follows; "two-places": two stand."""
    kind: str
    """Kind of the entry that does not fit."""
    number: int
    at: datetime
    other_at: datetime


def contradictions(life: Life) -> list[Contradiction]:
    """Return what cannot be in a circuit's life, in order of entry."""
    return sorted(
        {*_backwards(life), *_overlaps(life), *_before_the_prime_ended(life)},
        key=lambda each: (each.number, each.why, each.at, each.other_at),
    )


def _backwards(life: Life) -> Iterator[Contradiction]:
    """Yield rows that a projection had to cut because the entry came too early."""
    by_number = {event.number: event for event in life.events}
    for link, row in _rows(life):
        event = by_number.get(row["recorded_no"])
        if event is None or event.kind is Kind.PART_TAKEN_BACK:
            continue
        limit = None
        begun, ended = row["valid_from"], row["valid_to"]
        if ended is not None and ended > event.happened_at:
            limit = ended
        elif ended is None and begun > event.happened_at:
            limit = begun
        elif link is CircuitOnRun and row["flow_from"] is not None:
            flow = row["flow_from"]
            if flow < begun or (ended is not None and flow > ended):
                limit = begun if flow < begun else flow
        if limit is not None:
            yield Contradiction(
                why="backwards",
                kind=event.kind,
                number=event.number,
                at=event.happened_at,
                other_at=limit,
            )


def _overlaps(life: Life) -> Iterator[Contradiction]:
    """Yield undisputed rows of one kind that stand at the same time."""
    kinds = {event.number: event.kind for event in life.events}
    for link in (CircuitPhase, CircuitPlace, CircuitOnRun):
        rows = [row for row in life.rows[link] if not row["disputed"]]
        rows.sort(key=lambda row: (row["valid_from"], row["recorded_no"], row["line"]))
        for before, after in pairwise(rows):
            if before["valid_to"] is None or before["valid_to"] > after["valid_from"]:
                yield Contradiction(
                    why="two-places",
                    kind=kinds.get(after["recorded_no"], ""),
                    number=after["recorded_no"],
                    at=after["valid_from"],
                    other_at=before["valid_to"] or after["valid_from"],
                )


def _before_the_prime_ended(life: Life) -> Iterator[Contradiction]:
    """Yield parts and signatures on the wrong side of the prime's end, by the order of entry."""
    ended = next((event for event in life.events if event.kind is Kind.PRIME_ENDED), None)
    if ended is None or not life.rows[Prime]:
        return
    end = ended.happened_at
    for row in life.rows[Part]:
        if row["recorded_no"] < ended.number and row["valid_from"] > end:
            yield Contradiction(
                why="part-after-prime",
                kind=ended.kind,
                number=ended.number,
                at=end,
                other_at=row["valid_from"],
            )
    for event in life.events:
        if event.kind is Kind.PRIME_SIGNED and event.happened_at < end:
            yield Contradiction(
                why="signed-before",
                kind=ended.kind,
                number=ended.number,
                at=end,
                other_at=event.happened_at,
            )


def _rows(life: Life) -> Iterator[tuple[type[Link], dict[str, Any]]]:
    for link, rows in life.rows.items():
        for row in rows:
            yield link, row
