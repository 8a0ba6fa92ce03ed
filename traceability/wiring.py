"""Settings in, services out: the one place that puts engines, keys and clock together."""

from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import partial
from uuid import UUID

from sqlalchemy import Engine, select
from sqlalchemy.orm import Session, sessionmaker

from traceability.actions.notice.ask import AskNotice, ask_notice
from traceability.actions.once import Done, Sent, Site
from traceability.clock import Clock, system_clock
from traceability.domain.known_rows import row_body
from traceability.domain.notice_scope import Scope
from traceability.domain.own_keys import OwnKeys
from traceability.errors import NotSetUp
from traceability.imaging.apart import Readers
from traceability.reads.notice_delta import delta
from traceability.recall.answer import answer
from traceability.recall.for_notice import Answering, ask
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
    answering: Answering | None = None
    """What answers a notice's scope; None: scopes are recorded, and nothing is asked."""
    readers: Readers = field(default_factory=Readers)
    """Of pictures; no process of theirs is started before the first picture."""

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

    def ask_notice(
        self, notice_id: UUID, version: int, scope: Scope, sent: Sent, *, in_any_case: bool = False
    ) -> Done | None:
        """Ask a notice's scope again and record what changed.

        None: nothing answers here, or nothing changed and it need not be written `in_any_case`.

        Raises:
            StaleForm, NoticeClosed: somebody was quicker. Nothing was written.
        """
        if self.answering is None:
            return None
        with self.reads() as reads:
            found = ask(reads, scope, self.answering, now=self.now())
            differs = delta(reads, self.site.id, notice_id, found.rows)
        if found.cut_no < differs.base_cut_no:
            return None  # a newer one is kept already
        if differs.is_empty and differs.base_version == version and not in_any_case:
            return None
        asked = AskNotice(
            sent=sent,
            notice_id=notice_id,
            version=version,
            base_no=differs.base_no,
            cut_no=found.cut_no,
            digest=found.digest,
            counts=found.counts,
            coverage=found.coverage,
            rows=[row_body(row) for row in differs.changed],
            gone=differs.gone,
            tasks=[(each.key, each.kind) for each in differs.tasks],
            left=differs.left,
            back=differs.back,
        )
        return ask_notice(asked, site=self.site)

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
        """Let go of all connections, and end the readers of pictures."""
        self.readers.close()
        self.writer.dispose()
        self.reader.dispose()


def wire(
    settings: Settings,
    *,
    clock: Clock = system_clock,
    keys: Keys | None = None,
    answering: Answering | None = None,
) -> Services:
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
        answering=answering or partial(answer, zone=settings.zone_info),
    )
