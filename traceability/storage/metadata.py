"""All tables in one place: importing this module is what makes the metadata whole."""

from traceability.storage import (
    circuits,
    equipment,
    holds,
    items,
    kept_apart,
    ledger,
    people,
    requests,
    run_extras,
    runs,
    scans,
    site,
)
from traceability.storage.base import Base

__all__ = [
    "circuits",
    "equipment",
    "holds",
    "items",
    "kept_apart",
    "ledger",
    "metadata",
    "people",
    "requests",
    "run_extras",
    "runs",
    "scans",
    "site",
]

metadata = Base.metadata
