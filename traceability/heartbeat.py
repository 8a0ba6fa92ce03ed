"""Signs of life of the worker process: one small file in `var/`, so that `/readyz` can show it.

A file and not a row: it must tell the truth also when the database is what fails.
"""

import json
import os
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Final

EVERY: Final = timedelta(seconds=2)
LATE_AFTER: Final = timedelta(seconds=15)
"""Longer than one piece of work takes, and than a restart after one that crashed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Heartbeat:
    """What the worker last said of itself."""

    at: datetime
    """Aware UTC, by this machine's clock."""
    process: int
    started_at: datetime
    doing: str
    """The kind of work under way; empty while it waits."""

    def is_late(self, now: datetime) -> bool:
        """Tell whether the worker has been silent for longer than any work takes."""
        return now - self.at > LATE_AFTER


def heartbeat_file(var_dir: Path, *, practice: bool = False) -> Path:
    """Return where the worker of a store writes; practice has a worker of its own."""
    return var_dir / ("worker-practice.json" if practice else "worker.json")


def write_heartbeat(path: Path, beat: Heartbeat) -> None:
    """Replace the file in one step: a reader never sees half of it.

    Raises:
        OSError: the folder cannot be written.
    """
    facts = asdict(beat) | {"at": beat.at.isoformat(), "started_at": beat.started_at.isoformat()}
    draft = path.with_name(f"{path.name}.{os.getpid()}")
    draft.write_text(json.dumps(facts), encoding="ascii")
    draft.replace(path)


def read_heartbeat(path: Path) -> Heartbeat | None:
    """Return what the worker last said; None if it never did, or the file cannot be read."""
    try:
        facts = json.loads(path.read_text(encoding="ascii"))
        return Heartbeat(
            at=datetime.fromisoformat(facts["at"]),
            process=int(facts["process"]),
            started_at=datetime.fromisoformat(facts["started_at"]),
            doing=str(facts["doing"]),
        )
    except (OSError, ValueError, KeyError, TypeError):
        return None
