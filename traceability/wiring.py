"""Settings in, services out: the one place that puts engines, keys and clock together."""

from dataclasses import dataclass, replace
from datetime import datetime
from uuid import UUID

from sqlalchemy import Engine, select
from sqlalchemy.orm import Session, sessionmaker

from traceability.actions.once import Site
from traceability.clock import Clock, system_clock
from traceability.domain.own_keys import OwnKeys
from traceability.errors import NotSetUp
from traceability.security.keys import Keys, load_keys
from traceability.security.sign_in import Door
from traceability.settings import Settings
from traceability.storage.engine import make_reader, make_writer
from traceability.storage.ledger import LedgerHead
from traceability.storage.metadata import metadata

__all__ = ["Services", "wire"]


@dataclass(slots=True, kw_only=True)
class Services:
    """What pages and commands work with."""

    settings: Settings
    keys: Keys
    clock: Clock
    writer: Engine
    reader: Engine
    reads: sessionmaker[Session]
    """Sessions that cannot write; one transaction sees one state."""
    writes: sessionmaker[Session]
    known_site: Site | None = None

    @property
    def site(self) -> Site:
        """The site of this store.

        Raises:
            NotSetUp: the store holds none yet.
        """
        if self.known_site is None:
            with self.reads() as session:
                site_id = session.scalar(select(LedgerHead.site_id))
            if site_id is None:
                raise NotSetUp
            self.known_site = self.site_of(site_id)
        return self.known_site

    def site_of(self, site_id: UUID, clock: Clock | None = None) -> Site:
        """Return the site of this id in this store, set up or about to be."""
        return Site(
            id=site_id,
            sessions=self.writes,
            clock=clock or self.clock,
            digest_key=self.keys.digest,
            zone=self.settings.zone_info,
        )

    @property
    def own_keys(self) -> OwnKeys:
        """Return the unit's own numbers from GS1."""
        ours = self.settings
        return OwnKeys(
            prefix=ours.own_prefix, location=ours.own_location, document_type=ours.own_document
        )

    def door(self) -> Door:
        """Return what signing in needs."""
        return Door(
            site_id=self.site.id,
            sessions=self.writes,
            reads=self.reads,
            clock=self.clock,
            digest_key=self.keys.digest,
        )

    def at(self, clock: Clock) -> "Services":
        """Return the same services with another clock: the demo lives through two years."""
        site = replace(self.site, clock=clock)
        return replace(self, clock=clock, known_site=site)

    def now(self) -> datetime:
        """Return the present moment, aware UTC."""
        return self.clock()

    def create_tables(self) -> None:
        """Make all tables at once; for stores of a moment. Real ones are migrated."""
        metadata.create_all(self.writer)

    def close(self) -> None:
        """Let go of all connections."""
        self.writer.dispose()
        self.reader.dispose()


def wire(settings: Settings, *, clock: Clock = system_clock, keys: Keys | None = None) -> Services:
    """Return the services for these settings; nothing is read from the store yet."""
    keys = keys or load_keys(settings.var_dir)
    url = settings.store_url
    writer = make_writer(url, lock_timeout_ms=settings.lock_timeout_ms)
    reader = make_reader(url, lock_timeout_ms=settings.lock_timeout_ms)
    return Services(
        settings=settings,
        keys=keys,
        clock=clock,
        writer=writer,
        reader=reader,
        reads=sessionmaker(reader),
        writes=sessionmaker(writer),
    )
