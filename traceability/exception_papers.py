"""Exceptions of a period as a table."""

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Final

from traceability.exchange.safe_csv import csv_text
from traceability.notice_messages import EXCEPTIONS
from traceability.reads.exceptions import ExceptionFacts

EXCEPTION_COLUMNS: Final = (
    "kind",
    "entry_number",
    "happened_at",
    "recorded_at",
    "circuit",
    "what",
    "by",
    "device",
)


def exceptions_csv(found: Iterable[ExceptionFacts], say: Mapping[int, str]) -> str:
    """Return the exceptions as CSV; `say` gives the words of each entry."""
    return csv_text(
        EXCEPTION_COLUMNS,
        (
            {
                "kind": EXCEPTIONS[each.kind],
                "entry_number": each.entry.number,
                "happened_at": _iso(each.entry.at),
                "recorded_at": _iso(each.entry.recorded_at),
                "circuit": each.circuit,
                "what": say.get(each.entry.number, each.entry.kind),
                "by": each.entry.who,
                "device": each.entry.device,
            }
            for each in found
        ),
    )


def _iso(at: datetime) -> str:
    return at.isoformat(timespec="seconds").replace("+00:00", "Z")
