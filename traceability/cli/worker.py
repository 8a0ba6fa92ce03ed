"""The worker: what has to be done beside the pages; started and kept alive by `serve`."""

import logging
import os
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Final
from uuid import UUID

import click
from sqlalchemy.exc import DBAPIError

from traceability.cli.ask_notices import NoticesAsked
from traceability.cli.children import follow_parent
from traceability.cli.drilling import drill_if_due
from traceability.cli.still_page import write_still_page
from traceability.cli.store import opened
from traceability.errors import NotSetUp, Refused
from traceability.heartbeat import EVERY, Heartbeat, heartbeat_file, write_heartbeat
from traceability.security.heads import FILE, HeadsUnreadable, note_head, noted_heads
from traceability.storage.upkeep import head_of
from traceability.wiring import Services

log = logging.getLogger(__name__)

SIGN_HEAD_EVERY: Final = timedelta(minutes=10)
"""At most so much of the ledger's end can be cut off unseen, if the file is copied elsewhere."""

SHELF_EVERY: Final = timedelta(minutes=1)
"""So old is the copy of the shelf at most when the service goes down."""

NOTICES_EVERY: Final = timedelta(minutes=1)
"""So long after an entry at most an open notice is asked again."""


@click.command(hidden=True)
@click.option("--leash", type=int, required=True, help="Pipe that ends when the parent does.")
@click.option("--practice", is_flag=True, help="The practice store.")
def worker(*, leash: int, practice: bool) -> None:
    """Sign heads, copy the shelf, drill each week, ask notices again (started by `serve`)."""
    told = follow_parent(leash)
    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(levelname)s %(name)s %(message)s")
    logging.getLogger("alembic").setLevel(logging.WARNING)
    with opened(practice=practice) as services:
        round_of_work = RoundOfWork(services)
        round_of_work.do()
        while not told.wait(EVERY.total_seconds()):
            round_of_work.do()


@dataclass(slots=True)
class RoundOfWork:
    """What is due, looked at again and again."""

    services: Services
    started_at: datetime = field(init=False)
    signed_no: int = -1
    """The last head that was signed; -1 until the file was looked at."""
    next_head_at: datetime = field(init=False)
    next_shelf_at: datetime = field(init=False)
    next_notices_at: datetime = field(init=False)
    notices: NoticesAsked = field(init=False)

    def __post_init__(self) -> None:
        """Begin: a head is looked at, and the shelf copied, in the first round."""
        self.started_at = self.next_head_at = self.next_shelf_at = self.services.clock()
        self.next_notices_at = self.started_at
        self.notices = NoticesAsked(self.services, lambda: self._beat("notices"))

    def do(self) -> None:
        """Give a sign of life, and do what is due; a database that is away is tried again later."""
        self._beat("")
        if self.services.clock() >= self.next_shelf_at:
            self._copy_shelf()
        self._drill()
        if self.services.clock() >= self.next_notices_at:
            self._ask_notices()
        if self.services.clock() < self.next_head_at:
            return
        self._beat("signed-head")
        try:
            self._sign_head()
        except NotSetUp:
            return  # no site yet: looked at again in the next round
        except DBAPIError as error:
            log.warning("event=store-away work=signed-head error=%s", error.orig)
            return
        self.next_head_at = self.services.clock() + SIGN_HEAD_EVERY

    def _copy_shelf(self) -> None:
        """Write the shelf to a file that can be read while the service is down; never stop for it.

        What cannot be written is tried again a minute later: the file says how old it is.
        """
        self._beat("shelf-copy")
        try:
            write_still_page(self.services)
        except NotSetUp:
            return  # no site yet: looked at again in the next round
        except (DBAPIError, OSError) as error:
            log.warning("event=shelf-not-copied error=%s", error)
        self.next_shelf_at = self.services.clock() + SHELF_EVERY

    def _drill(self) -> None:
        """Drill where this week has none yet, looked at in every round.

        No moment of the next drill is kept: the record says of which weeks there is one, so a
        clock that steps and a service that was down make neither two of a week nor none.
        """
        try:
            if drill_if_due(self.services):
                log.info("event=lots-drilled")
        except NotSetUp:
            return  # no site yet: looked at again in the next round
        except (DBAPIError, Refused) as error:
            log.warning("event=not-drilled error=%s", getattr(error, "orig", error))

    def _ask_notices(self) -> None:
        """Ask open notices again where entries came in since; what fails is tried again later."""
        try:
            self.notices.ask()
        except NotSetUp:
            return  # no site yet: looked at again in the next round
        except (DBAPIError, Refused) as error:
            log.warning("event=notices-not-asked error=%s", error)
        self.next_notices_at = self.services.clock() + NOTICES_EVERY

    def _sign_head(self) -> None:
        site_id, folder = self.services.site.id, self.services.settings.var_dir
        if self.signed_no < 0:
            self.signed_no = self._last_signed(folder / FILE, site_id)
        head = head_of(self.services.reads, site_id)
        if head.number > self.signed_no:
            note_head(
                folder, self.services.keys, site_id, head.number, head.hash, self.services.clock()
            )
            self.signed_no = head.number

    def _last_signed(self, file: Path, site_id: UUID) -> int:
        try:
            noted = list(noted_heads(file, site_id, self.services.keys.public))
        except HeadsUnreadable as error:
            # Said again by every `verify`; signing goes on, or what follows would be unsigned too.
            log.error("event=heads-unreadable error=%s", error)
            return 0
        return max((head.number for head in noted), default=0)

    def _beat(self, doing: str) -> None:
        beat = Heartbeat(
            at=self.services.clock(),
            process=os.getpid(),
            started_at=self.started_at,
            doing=doing,
        )
        settings = self.services.settings
        write_heartbeat(heartbeat_file(settings.var_dir, practice=settings.practice), beat)
