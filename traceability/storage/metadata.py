"""All tables in one place: importing this module is what makes the metadata whole."""

from traceability.storage import (
    circuits,
    corrections,
    down_time,
    equipment,
    holds,
    items,
    kept_apart,
    ledger,
    moves,
    notice_answers,
    notice_life,
    notice_tasks,
    notices,
    people,
    requests,
    run_extras,
    runs,
    scans,
    shelf,
    site,
    stock,
)
from traceability.storage.base import Base

__all__ = [
    "circuits",
    "corrections",
    "down_time",
    "equipment",
    "holds",
    "items",
    "kept_apart",
    "ledger",
    "metadata",
    "moves",
    "notice_answers",
    "notice_life",
    "notice_tasks",
    "notices",
    "people",
    "requests",
    "run_extras",
    "runs",
    "scans",
    "shelf",
    "site",
    "stock",
]

metadata = Base.metadata
