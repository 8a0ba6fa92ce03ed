"""Fill an empty store with the invented hospital: `make run` and `demo` call this."""

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from sqlalchemy import Engine, event

from traceability.storage.engine import is_sqlite
from traceability.wiring import Services

from .history import SEED, live_through
from .ward import Chronicle

__all__ = ["fill", "make_demo"]


def make_demo(services: Services, *, progress: Callable[[int, int], None]) -> None:
    """Live through two years that end now; `progress(days, of)` is called on the way.

    Everything is invented, and the same for every store: the seed decides it. Only the present
    moment of `services` moves it.
    """
    fill(services, progress=progress)


def fill(services: Services, *, progress: Callable[[int, int], None]) -> Chronicle:
    """Do what `make_demo` does, and return what was planned."""
    with _without_waiting_for_the_disk(services.writer, services.settings.store_url):
        return live_through(services, ends=services.now(), seed=SEED, progress=progress)


@contextmanager
def _without_waiting_for_the_disk(writer: Engine, url: str) -> Iterator[None]:
    """Let SQLite answer before the disk has it, for as long as the demo is made.

    Nobody relies on a demo that is half made: it is written to a side file, and broken off it is
    made anew. Some thousand acts would each wait for the disk otherwise. In the end everything is
    brought to the disk at once, by connections that wait again.
    """
    if not is_sqlite(url):
        yield
        return

    def _do_not_wait(connection: sqlite3.Connection, _record: object) -> None:
        connection.execute("PRAGMA synchronous = OFF")

    event.listen(writer, "connect", _do_not_wait)
    writer.dispose()
    try:
        yield
    finally:
        event.remove(writer, "connect", _do_not_wait)
        writer.dispose()
        with writer.connect() as connection:
            bare = connection.connection.driver_connection
            if isinstance(bare, sqlite3.Connection):
                bare.execute("PRAGMA wal_checkpoint(TRUNCATE)")
