"""Open notices are asked again whenever entries came in: what changed waits to be looked at."""

import logging
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final
from uuid import UUID

from traceability.actions.once import Sent
from traceability.errors import NoticeClosed, StaleForm
from traceability.reads.notices import open_scopes
from traceability.security.roles import service_device
from traceability.storage.upkeep import head_of
from traceability.wiring import Services

log = logging.getLogger(__name__)

NEVER: Final = -1


@dataclass(slots=True)
class NoticesAsked:
    """Up to which entry every open notice was asked."""

    services: Services
    alive: Callable[[], None]
    """Called before each notice: a large answer takes its time."""
    asked_no: int = NEVER
    """The newest entry when all were asked last."""
    found: dict[UUID, int] = field(default_factory=dict)
    """Entries that the last round made, by notice."""

    def ask(self) -> None:
        """Ask every open notice again, if anything was recorded since; else do nothing.

        Raises:
            NotSetUp: there is no site yet.
        """
        site = self.services.site
        head = head_of(self.services.reads, site.id).number
        if self.services.answering is None or head == self.asked_no:
            return
        with self.services.reads() as reads:
            scopes = open_scopes(reads, site.id)
        self.found = {}
        for notice_id, version, scope in scopes:
            self.alive()
            sent = Sent(
                device_id=service_device(site.id),
                actor_id=None,
                request_id=site.new_id(self.services.clock()),
            )
            try:
                done = self.services.ask_notice(notice_id, version, scope, sent)
            except (StaleForm, NoticeClosed):
                continue  # amended or closed this moment: that is a new entry, and asks again
            if done is not None:
                self.found[notice_id] = done.last_no
                log.info("event=notice-asked notice=%s entry=%s", notice_id, done.last_no)
        # Entries made meanwhile, the service's own too, ask once more, and then find nothing.
        self.asked_no = head
