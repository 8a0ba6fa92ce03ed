"""The stock book follows where a correction says that a piece was of another lot, or never was."""

import dataclasses
from collections.abc import Callable, Iterable, Sequence
from typing import Any
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.domain.corrections import pieces_told
from traceability.domain.events import Kind, Plain, Recorded
from traceability.storage.projections.lives import Life
from traceability.storage.projections.stock_levels import unit_given_back, unit_used


def pieces_of(rows: Iterable[dict[str, Any]]) -> dict[UUID, dict[str, Any]]:
    """Return the pieces among rows, by id; of several rows of one piece the first."""
    found: dict[UUID, dict[str, Any]] = {}
    for row in rows:
        if "part_id" in row and row["product_id"] is not None:
            found.setdefault(row["part_id"], row)
    return found


def correct_the_book(
    session: Session,
    event: Recorded,
    before: dict[UUID, dict[str, Any]],
    after: dict[UUID, dict[str, Any]],
    lives: Sequence[Life],
    next_line: Callable[[], int],
) -> None:
    """Let the stock book follow where a piece was of another lot, or never was."""
    for part_id in sorted({*before, *after}):
        old, new = before.get(part_id), after.get(part_id)
        if old and new and all(old[name] == new[name] for name in ("product_id", "lot_id")):
            continue
        if old:
            unit_given_back(session, event, part_id, next_line)
        if new:
            begun = dataclasses.replace(
                event,
                kind=_put_in_by(lives, part_id) or event.kind,
                happened_at=new["valid_from"],
                body=_as_body(new),
            )
            unit_used(session, begun, next_line(), begun)


def _put_in_by(lives: Sequence[Life], part_id: UUID) -> Kind | None:
    """Return the kind of the entry that put a piece in; a swapped one never comes with the pack."""
    for event in (event for known in lives for event in known.events):
        if str(part_id) in {row.get("part") for row in pieces_told(event)}:
            return event.kind
    return None


def _as_body(row: dict[str, Any]) -> dict[str, Plain]:
    """Return what the stock book reads of a piece, as an entry's body says it."""
    return {
        "circuit": str(row["circuit_id"]),
        "part": str(row["part_id"]),
        "product": str(row["product_id"]),
        "lot_id": None if row["lot_id"] is None else str(row["lot_id"]),
        "slot": row["slot"],
        "known": row["known"],
        "disputed": row["disputed"],
    }
