"""Time for the demo: stories that wait for each other's turns, and a clock that only goes forward.

A story is a generator that yields how long it waits. Whoever is due next goes on, so that a prime,
a patient and a shift check overlap as they do on a ward, and the ledger is written in the order of
time.
"""

import heapq
from collections.abc import Callable, Generator
from datetime import datetime, timedelta
from itertools import count
from random import Random
from typing import TypeAlias, TypeVar
from uuid import UUID

from traceability.actions.once import Sent, Site
from traceability.wiring import Services

from .hospital import Colleague, Screen

T = TypeVar("T")
Story: TypeAlias = Generator[timedelta, None, T]


class Stage:
    """The hospital's clock, its chance, and everything that is going on."""

    def __init__(self, *, begins: datetime, seed: int) -> None:
        """Begin at a moment; the same seed makes the same two years."""
        self.now = begins
        self.rng = Random(seed)  # noqa: S311 - a story, not a secret
        self._order = count()
        self._waiting: list[tuple[datetime, int, Story[None]]] = []
        self._services: Services | None = None

    def clock(self) -> datetime:
        """Return the moment that the story has reached."""
        return self.now

    def open(self, services: Services) -> None:
        """Let acts go to the store of these services, by this clock."""
        self._services = services.at(self.clock)

    @property
    def services(self) -> Services:
        """The services by this clock.

        Raises:
            RuntimeError: nobody has opened it yet.
        """
        if self._services is None:
            raise RuntimeError("the stage is not open")
        return self._services

    @property
    def site(self) -> Site:
        """The site that acts go to."""
        return self.services.site

    def sent(self, screen: Screen, person: Colleague | None) -> Sent:
        """Return who sends the next act and from where; None: nobody is signed in."""
        return Sent(
            device_id=screen.id,
            actor_id=None if person is None else person.id,
            request_id=self.new_id(),
        )

    def new_id(self) -> UUID:
        """Return an id that the seed decides."""
        return UUID(int=self.rng.getrandbits(128), version=4)

    def begin(self, story: Story[None], at: datetime | None = None) -> None:
        """Let a story begin at a moment; None: now."""
        heapq.heappush(self._waiting, (at or self.now, next(self._order), story))

    def play(self, until: datetime, progress: Callable[[], None]) -> None:
        """Go on with whatever is due until that moment, which is then reached."""
        while self._waiting and self._waiting[0][0] <= until:
            at, _, story = heapq.heappop(self._waiting)
            self.now = max(self.now, at)
            try:
                wait = next(story)
            except StopIteration:
                continue
            self.begin(story, self.now + wait)
            progress()
        self.now = until

    def minutes(self, least: float, most: float) -> timedelta:
        """Return a time by chance."""
        return timedelta(seconds=round(self.rng.uniform(least, most) * 60))

    def hours(self, least: float, most: float) -> timedelta:
        """Return a time by chance."""
        return self.minutes(least * 60, most * 60)
