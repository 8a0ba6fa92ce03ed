"""All tables in one place: importing this module is what makes the metadata whole."""

from traceability.storage import (
    circuits,
    holds,
    items,
    kept_apart,
    ledger,
    people,
    requests,
    runs,
    scans,
    shelf,
    site,
)
from traceability.storage.base import Base

__all__ = [
    "circuits",
    "holds",
    "items",
    "kept_apart",
    "ledger",
    "metadata",
    "people",
    "requests",
    "runs",
    "scans",
    "shelf",
    "site",
]

metadata = Base.metadata
