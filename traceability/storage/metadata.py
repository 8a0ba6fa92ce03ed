"""All tables in one place: importing this module is what makes the metadata whole."""

from traceability.storage import (
    circuits,
    corrections,
    holds,
    items,
    kept_apart,
    ledger,
    people,
    requests,
    runs,
    scans,
    site,
)
from traceability.storage.base import Base

__all__ = [
    "circuits",
    "corrections",
    "holds",
    "items",
    "kept_apart",
    "ledger",
    "metadata",
    "people",
    "requests",
    "runs",
    "scans",
    "site",
]

metadata = Base.metadata
