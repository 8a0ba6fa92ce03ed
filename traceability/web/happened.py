"""Entries as lists show them: words, who, how late, and what a correction changed in time."""

from collections.abc import Mapping
from datetime import datetime
from types import MappingProxyType
from typing import Final

from traceability.domain.moments import LATE
from traceability.messages import say_event
from traceability.reads.happenings import Happening

WORTH_SAYING: Final = 60 * 60
"""Seconds from which on it is said how much later an entry was made. Own choice, no source."""


def shown(
    happening: Happening, circuits: Mapping[str, str] = MappingProxyType({})
) -> dict[str, object]:
    """Return an entry as templates need it; `circuits` gives numbers of circuits by id."""
    late = happening.recorded_at - happening.at
    changes, old = happening.body.get("changes"), happening.body.get("old")
    return {
        "at": happening.at,
        "words": say_event(happening.kind, happening.body),
        "who": happening.who or happening.device,
        "device": happening.device,
        "late": late if late.total_seconds() > WORTH_SAYING else None,
        "very_late": late > LATE,
        "number": happening.number,
        "kind": happening.kind,
        "circuit": circuits.get(str(happening.body.get("circuit")), ""),
        "is_void": happening.is_void,
        "is_corrected": happening.is_corrected,
        "from": _moment(old),
        "to": _moment(changes),
    }


def _moment(of: object) -> datetime | None:
    at = of.get("at") if isinstance(of, dict) else None
    return datetime.fromisoformat(at) if isinstance(at, str) else None
