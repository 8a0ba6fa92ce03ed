"""Events to rows. Live writing and `rebuild` call the same functions, so both give the same rows.

A projection sees the event's parsed body and the rows of earlier events. It never asks a clock,
never makes an id and never decides: that was done by the action before it appended the event.
"""

from sqlalchemy.orm import Session

from traceability.domain.events import Recorded
from traceability.storage.projections import (
    circuits,
    corrections,
    counting,
    drills,
    equipment,
    kept,
    lists,
    moves,
    notice_answers,
    notice_life,
    notice_tasks,
    notices,
    pauses,
    pictures,
    primes,
    run_extras,
    runs,
    shelf,
    steps,
    stock,
    waiting_acts,
)
from traceability.storage.projections.registry import BY_KIND

__all__ = [
    "circuits",
    "corrections",
    "counting",
    "drills",
    "equipment",
    "kept",
    "lists",
    "moves",
    "notice_answers",
    "notice_life",
    "notice_tasks",
    "notices",
    "pauses",
    "pictures",
    "primes",
    "project",
    "run_extras",
    "runs",
    "shelf",
    "steps",
    "stock",
    "waiting_acts",
]


def project(session: Session, event: Recorded) -> None:
    """Write the rows that follow from one event."""
    BY_KIND[event.kind](session, event)
