"""Whether the store can be used: reachable, of this version, with room left."""

import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from sqlalchemy import func, select
from sqlalchemy.exc import SQLAlchemyError
from sqlalchemy.orm import Session

from traceability.errors import StoreAway
from traceability.storage.ledger import LedgerHead
from traceability.storage.migrate import newest_revision, revision_on

LEAST_FREE: Final = 200 * 2**20
"""Bytes that have to be free on the disk; own choice: about ten thousand circuits' records."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StoreHealth:
    """What was found; no names, no data."""

    reachable: bool
    right_version: bool
    room: bool
    events: int

    @property
    def good(self) -> bool:
        """Whether acts can be taken."""
        return self.reachable and self.right_version and self.room


def store_health(session: Session, var_dir: Path) -> StoreHealth:
    """Return the store's health. A store that cannot be reached is an answer, not a failure."""
    room = shutil.disk_usage(var_dir).free >= LEAST_FREE if var_dir.exists() else False
    try:
        events = session.scalar(select(func.sum(LedgerHead.number))) or 0
        right = revision_on(session.connection()) == newest_revision()
    except (SQLAlchemyError, StoreAway):
        return StoreHealth(reachable=False, right_version=False, room=room, events=0)
    return StoreHealth(reachable=True, right_version=right, room=room, events=events)
