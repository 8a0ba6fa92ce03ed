"""All tables in one place: importing this module is what makes the metadata whole."""

from traceability.storage import (
    circuits,
    down_time,
    holds,
    items,
    kept_apart,
    ledger,
    moves,
    people,
    requests,
    runs,
    scans,
    site,
)
from traceability.storage.base import Base

__all__ = [
    "circuits",
    "down_time",
    "holds",
    "items",
    "kept_apart",
    "ledger",
    "metadata",
    "moves",
    "people",
    "requests",
    "runs",
    "scans",
    "site",
]

metadata = Base.metadata
