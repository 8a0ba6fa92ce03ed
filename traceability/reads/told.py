"""Who was told by hand, of a place or of a circuit."""

from dataclasses import dataclass
from datetime import datetime
from typing import Final
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.storage.kept_apart import KeptApart
from traceability.storage.shelf import ToldByHand

MOST: Final = 5
"""The newest are shown; all stay on record."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ToldFacts:
    """One word told by hand."""

    at: datetime
    reason: str
    who: str
    """As entered; empty once it was erased. Shown only to known devices and people."""


def told_of_place(
    session: Session, site_id: UUID, place_id: UUID, since: datetime | None
) -> tuple[ToldFacts, ...]:
    """Return who was told of a place since a moment, newest first; all if `since` is None."""
    rows = (
        select(ToldByHand, KeptApart.text)
        .outerjoin(KeptApart, KeptApart.id == ToldByHand.kept_id)
        .where(
            ToldByHand.site_id == site_id,
            ToldByHand.place_id == place_id,
            ToldByHand.superseded_no.is_(None),
        )
        .order_by(ToldByHand.valid_from.desc(), ToldByHand.recorded_no.desc())
        .limit(MOST)
    )
    if since is not None:
        rows = rows.where(ToldByHand.valid_from >= since)
    return tuple(
        ToldFacts(at=row.valid_from, reason=row.reason, who=text or "")
        for row, text in session.execute(rows)
    )
