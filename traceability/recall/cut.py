"""Where an answer is cut: the last entry it knows of, so that it can be given again exactly."""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from sqlalchemy import select, true
from sqlalchemy.orm import Session

from traceability.storage.ledger import LedgerEvent, LedgerHead


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """Where an answer was cut."""

    number: int
    recorded_at: datetime | None
    """Of the last entry included; None before the first."""
    device_id: UUID | None
    sites: tuple[UUID, ...]
    """Whose rows are read; the indexes of circuits and runs begin with the site."""
    latest: bool
    """Nothing has been recorded since: no row of before can have been superseded later."""


def cut_at(session: Session, number: int | None = None, moment: datetime | None = None) -> Cut:
    """Return the last event at or before a number, or a clock time; neither means all of them."""
    heads = session.execute(select(LedgerHead.site_id, LedgerHead.number)).all()
    sites = tuple(head.site_id for head in heads)
    newest = max((head.number for head in heads), default=0)
    rows = select(LedgerEvent.number, LedgerEvent.recorded_at, LedgerEvent.device_id)
    # A site at a time: by number alone, without its site, no index would be used.
    rows = rows.where(LedgerEvent.site_id == sites[0] if len(sites) == 1 else true())
    if number is not None:
        rows = rows.where(LedgerEvent.number <= number)
    if moment is not None:
        rows = rows.where(LedgerEvent.recorded_at <= moment)
    found = session.execute(rows.order_by(LedgerEvent.number.desc()).limit(1)).first()
    if found is None:
        return Cut(number=0, recorded_at=None, device_id=None, sites=sites, latest=newest == 0)
    return Cut(
        number=found.number,
        recorded_at=found.recorded_at,
        device_id=found.device_id,
        sites=sites,
        latest=found.number >= newest,
    )
