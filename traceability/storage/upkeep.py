"""The store as a whole, for the command line and the worker: is it whole, and make it anew.

No rows leave this module: it answers with numbers and names.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session, sessionmaker

from traceability.storage.ledger import LedgerEvent, LedgerHead, first_break
from traceability.storage.rebuild import Rebuilt, rebuild

__all__ = ["Checked", "Head", "Rebuilt", "check_chain", "check_tables", "head_of", "rebuild_tables"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Head:
    """The end of a site's ledger at some moment."""

    number: int
    """Of the last event; 0 before the first."""
    hash: str
    """64 hex digits."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """What a look at the whole ledger found."""

    events: int
    first_break: int | None
    """Number of the first event that is missing or not as it was; None if there is none."""
    heads: int
    """How many heads from elsewhere were compared."""
    first_lost: int | None
    """Number of the first such head that the ledger no longer has as it was; None if it has all."""

    @property
    def whole(self) -> bool:
        """Tell whether nothing was changed, taken out or cut off."""
        return self.first_break is None and self.first_lost is None


def head_of(reads: sessionmaker[Session], site_id: UUID) -> Head:
    """Return the end of the ledger as it is now."""
    with reads() as session:
        stored = session.get_one(LedgerHead, site_id)
        return Head(number=stored.number, hash=stored.hash)


def check_chain(
    reads: sessionmaker[Session], site_id: UUID, known_heads: Iterable[Head]
) -> Checked:
    """Read every event, compute every hash anew, and compare with heads noted elsewhere.

    The chain alone cannot show that its end was cut off together with the head; a noted head can.
    """
    with reads() as session:
        broken = first_break(session, site_id)
        heads = sorted(known_heads, key=lambda head: head.number)
        lost = (head.number for head in heads if not _has(session, site_id, head))
        return Checked(
            events=session.get_one(LedgerHead, site_id).number,
            first_break=broken,
            heads=len(heads),
            first_lost=next(lost, None),
        )


def check_tables(writes: sessionmaker[Session], site_id: UUID) -> Rebuilt:
    """Make all tables anew, compare, and take it all back: the store stays as it was."""
    with writes() as session, session.begin():
        found = rebuild(session, site_id)
        session.rollback()
        return found


def rebuild_tables(writes: sessionmaker[Session], site_id: UUID) -> Rebuilt:
    """Make all tables anew from the ledger and keep them; other writers wait meanwhile."""
    with writes.begin() as session:
        return rebuild(session, site_id)


def _has(session: Session, site_id: UUID, head: Head) -> bool:
    if head.number == 0:
        return True
    stored = select(LedgerEvent.hash).filter_by(site_id=site_id, number=head.number)
    return session.scalar(stored) == head.hash
