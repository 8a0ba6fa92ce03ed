"""The ledger: one append-only, hash-chained row for every act of a site.

A body is stored as the very text that was hashed, so that no JSON library, column type or
database version can change what a hash stands for. No patient reference and no free text goes
into a body: see `kept_apart`. Every other table that an act touches is written from the event by
`projections`, in the same transaction; `rebuild` runs the same functions again.
"""

import hashlib
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from uuid import UUID

from sqlalchemy import Index, func, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from traceability.clock import Clock
from traceability.domain.events import Kind, Plain, Recorded
from traceability.storage.base import FIRST_PREVIOUS_HASH, Base
from traceability.storage.projections import project
from traceability.storage.triggers import never_changes


class LedgerHead(Base):
    """The one row of a site that every writer locks last, so that writers queue, not clash."""

    __tablename__ = "ledger_head"
    site_id: Mapped[UUID] = mapped_column(primary_key=True)
    number: Mapped[int] = mapped_column(default=0)
    hash: Mapped[str] = mapped_column(default=FIRST_PREVIOUS_HASH)
    recorded_at: Mapped[datetime | None]


class LedgerEvent(Base):
    """One act. `hash` covers every other column; each site has a chain of its own."""

    __tablename__ = "event"
    __table_args__ = (
        Index("ix_event_site_id_recorded_at", "site_id", "recorded_at"),
        Index("ix_event_site_id_actor_id_kind", "site_id", "actor_id", "kind", "number"),
    )
    site_id: Mapped[UUID] = mapped_column(primary_key=True)
    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    device_id: Mapped[UUID]
    actor_id: Mapped[UUID | None]
    """None if nobody was signed in: the device answers for the act until a person does."""
    request_id: Mapped[UUID]
    happened_at: Mapped[datetime]
    recorded_at: Mapped[datetime]
    kind: Mapped[str]
    body: Mapped[str]
    """The canonical text that was hashed, byte for byte; never parsed and written again."""
    previous_hash: Mapped[str]
    hash: Mapped[str]


never_changes(Base.metadata.tables["event"])


@dataclass(frozen=True, slots=True, kw_only=True)
class Sent:
    """Who sent an act, and under which id."""

    device_id: UUID
    actor_id: UUID | None
    """The person signed in when the act was done, however late it is sent; None if nobody was."""
    request_id: UUID
    """UUIDv7 made by the device; the same on every repeat."""
    unsaid: frozenset[str] = frozenset()
    """Names of moments that the request did not say: the server's own time stands in them, another
    one on every repeat, so they are no part of what was asked."""
    claimed: Mapping[str, Plain] | None = None
    """How an act that waited on its device came in: its number there, who was signed in when it was
    sent, and what proves whose it is. None: it came at once, from who is signed in."""

    @property
    def waited(self) -> bool:
        """Whether it was done earlier without a network: it has happened, whatever one thinks."""
        return self.claimed is not None


@dataclass(frozen=True, slots=True)
class OpenLedger:
    """A site's ledger while one transaction holds its head; other writers wait until the end."""

    session: Session
    sent: Sent
    head: LedgerHead
    now: datetime
    """Read once, after the head was locked, so that recorded times grow with the numbers."""

    @property
    def next_no(self) -> int:
        """The number that the next event will have."""
        return self.head.number + 1

    def append(self, kind: Kind, body: Mapping[str, object], *, happened_at: datetime) -> int:
        """Add the next event with its projection and return its number; the caller commits.

        If the clock was set back since the last event, the body notes what it had shown then.
        """
        head, recorded_before = self.head, self.head.recorded_at
        if recorded_before is not None and self.now < recorded_before:
            body = {**body, "clock_set_back_from": recorded_before}
        if self.sent.claimed is not None:
            body = {**body, "claimed": self.sent.claimed}
        added = LedgerEvent(
            site_id=head.site_id,
            number=head.number + 1,
            device_id=self.sent.device_id,
            actor_id=self.sent.actor_id,
            request_id=self.sent.request_id,
            happened_at=happened_at,
            recorded_at=self.now,
            kind=kind,
            body=canonical(body),
            previous_hash=head.hash,
        )
        added.hash = event_hash(added)
        self.session.add(added)
        head.number, head.hash, head.recorded_at = added.number, added.hash, self.now
        self.session.flush()
        project(self.session, recorded(added))
        self.session.flush()
        return added.number


def open_ledger(session: Session, sent: Sent, *, site_id: UUID, clock: Clock) -> OpenLedger:
    """Lock the site's head row, then read the clock.

    Call it after every other row lock: then no two writers can wait for each other.
    """
    head = select(LedgerHead).filter_by(site_id=site_id).with_for_update()
    locked = session.scalars(head, execution_options={"populate_existing": True}).one()
    return OpenLedger(session, sent, locked, now=clock())


def recorded(stored: LedgerEvent) -> Recorded:
    """Return a stored event with its body parsed, as projections and readers see it."""
    return Recorded(
        site_id=stored.site_id,
        number=stored.number,
        device_id=stored.device_id,
        actor_id=stored.actor_id,
        request_id=stored.request_id,
        happened_at=stored.happened_at,
        recorded_at=stored.recorded_at,
        kind=Kind(stored.kind),
        body=json.loads(stored.body),
    )


def event_hash(of: LedgerEvent) -> str:
    """Return 64 hex digits: SHA-256 over all columns but `hash`, by name, in canonical form."""
    names = LedgerEvent.__table__.columns.keys()
    covered = {name: getattr(of, name) for name in names if name != "hash"}
    return hashlib.sha256(canonical(covered).encode("ascii")).hexdigest()


def events_in_order(session: Session, site_id: UUID) -> Iterator[LedgerEvent]:
    """Yield all events of the site by number, in blocks: thirty years do not fit in memory.

    Each block is a statement of its own, so that the caller may clear the session on the way.
    """
    chain = select(LedgerEvent).filter_by(site_id=site_id).order_by(LedgerEvent.number).limit(1000)
    following = chain
    while block := session.scalars(following).all():
        last = block[-1].number
        yield from block
        following = chain.where(LedgerEvent.number > last)


def first_break(session: Session, site_id: UUID) -> int | None:
    """Return the number of the first event that is missing or not as it was; None if whole.

    A cut tail shows against the head, and against signed heads kept elsewhere.
    """
    number, previous = 0, FIRST_PREVIOUS_HASH
    for number, stored in enumerate(events_in_order(session, site_id), start=1):
        whole = stored.number == number and stored.previous_hash == previous
        if not whole or stored.hash != event_hash(stored):
            return number
        previous = stored.hash
        session.expunge(stored)
    head = session.get_one(LedgerHead, site_id)
    return None if (head.number, head.hash) == (number, previous) else number + 1


def number_at(session: Session, site_id: UUID, moment: datetime) -> int:
    """Return the last number recorded at or before a clock time; 0 before the first."""
    last = select(func.max(LedgerEvent.number)).where(
        LedgerEvent.site_id == site_id, LedgerEvent.recorded_at <= moment
    )
    return session.scalar(last) or 0


def canonical(value: object) -> str:
    """Return ASCII JSON that is the same for the same facts on every machine.

    Keys sorted, no blanks, text escaped but not otherwise changed; moments as UTC with six
    decimals, so that a writer's time zone makes no difference.

    Raises:
        TypeError: floats included, for they print differently; send millilitres, not litres.
    """
    return json.dumps(_plain(value), sort_keys=True, separators=(",", ":"), ensure_ascii=True)


def _plain(value: object) -> Plain:
    match value:
        case None | bool() | int() | str():
            return value
        case datetime() if value.tzinfo is not None:
            return value.astimezone(UTC).isoformat(timespec="microseconds")
        case UUID():
            return str(value)
        case date() if not isinstance(value, datetime):
            return value.isoformat()
        case list() | tuple():
            return [_plain(item) for item in value]
        case Mapping():
            return {str(key): _plain(item) for key, item in value.items()}
        case _:
            raise TypeError(f"{value!r} has no canonical form")
