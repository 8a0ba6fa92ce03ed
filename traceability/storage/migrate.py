"""Brings a store to the tables that this version works with, and tells how far a store is.

The steps lie in `migrations/`: at the top of the project, or inside the package once installed.
Each step is one transaction on both databases, so a step that fails leaves the store as it was.
"""

import fcntl
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from alembic import command
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from alembic.util import CommandError
from sqlalchemy import Connection, Engine, create_engine, event, make_url, text

from traceability.storage.engine import is_sqlite

ONE_AT_A_TIME: Final = 0x43_54_4D_49
"""Key of the advisory lock on PostgreSQL; any number that nothing else in the database uses."""


class NewerStore(Exception):
    """The store was written by a newer version of the program; it was left as it is."""

    def __init__(self, revision: str) -> None:
        """Keep which step the store has and this program does not know."""
        super().__init__(
            f"This store has had step {revision}, which this version of the program does not "
            "know. Start the newer version that made it."
        )
        self.revision = revision


def upgrade(url: str, to: str = "head") -> list[str]:
    """Carry out all steps that the store has not had, up to `to`; return their numbers in order.

    Raises:
        NewerStore: see there; nothing was changed.
    """
    with _store(url) as connection:
        before = _revision(connection)
        script = _scripts()
        _require_known(script, before)
        command.upgrade(_config(connection), to)
        after = _revision(connection)
    if before == after or after is None:
        return []
    steps = script.iterate_revisions(after, before or "base")
    return [step.revision for step in steps if step.revision != before][::-1]


def downgrade(url: str, to: str) -> None:
    """Go back to step `to`, or to "base" for no tables, where no step on the way refuses.

    Raises:
        NewerStore: nothing was changed.
        LosesRecords: a step on the way cannot be taken back; nothing was changed.
    """
    with _store(url) as connection:
        _require_known(_scripts(), _revision(connection))
        config = _config(connection)
        config.attributes["as_one"] = True
        command.downgrade(config, to)


def revision_of(url: str) -> str | None:
    """Return the number of the last step that the store has had; None before the first."""
    engine = migration_engine(url)
    try:
        with engine.connect() as connection:
            return revision_on(connection)
    finally:
        engine.dispose()


def revision_on(connection: Connection) -> str | None:
    """Return the same as `revision_of`, on a connection that is open: nothing is locked."""
    return MigrationContext.configure(connection).get_current_revision()


def newest_revision() -> str:
    """Return the number of the last step that this program knows."""
    return str(_scripts().get_current_head())


class LosesRecords(Exception):
    """A step back would lose what was recorded; the message says what and what to do instead."""


def migration_engine(url: str) -> Engine:
    """Return an engine on which changes of tables are real transactions.

    On SQLite foreign keys are off from before the first BEGIN, since they cannot be switched
    within a transaction and a rebuilt parent table would take its children along; each step is
    checked as a whole before it is committed (`migrations/env.py`).
    """
    engine = create_engine(url)
    if is_sqlite(url):

        @event.listens_for(engine, "connect")
        def _prepare(connection: object, _record: object) -> None:
            connection.isolation_level = None  # type: ignore[attr-defined]
            connection.executescript(  # type: ignore[attr-defined]
                "PRAGMA busy_timeout = 30000; PRAGMA journal_mode = WAL;"
                "PRAGMA synchronous = FULL; PRAGMA foreign_keys = OFF;"
            )

        @event.listens_for(engine, "begin")
        def _begin(connection: Connection) -> None:
            connection.exec_driver_sql("BEGIN IMMEDIATE")

    return engine


@contextmanager
def _store(url: str) -> Iterator[Connection]:
    """Open the store for one migrating process; another one waits until this one is done."""
    engine = migration_engine(url)
    try:
        if not is_sqlite(url):
            with engine.connect() as guard, engine.connect() as connection:
                guard.execute(text("SELECT pg_advisory_lock(:key)"), {"key": ONE_AT_A_TIME})
                yield connection
            return
        path = make_url(url).database
        if not path or path == ":memory:":
            raise ValueError("a store in memory is made by create_all, never migrated")
        with (
            Path(f"{path}.migrating").open("wb") as lock,
            engine.connect() as connection,
        ):
            fcntl.flock(lock, fcntl.LOCK_EX)
            yield connection
    finally:
        engine.dispose()


def _config(connection: Connection) -> Config:
    config = Config()
    config.set_main_option("script_location", str(_folder()).replace("%", "%%"))
    config.attributes["connection"] = connection
    return config


def _folder() -> Path:
    package = Path(__file__).parents[1]
    inside = package / "migrations"
    return inside if inside.is_dir() else package.parent / "migrations"


def _scripts() -> ScriptDirectory:
    return ScriptDirectory(str(_folder()))


def _revision(connection: Connection) -> str | None:
    try:
        return revision_on(connection)
    finally:
        connection.rollback()  # the look itself began a transaction


def _require_known(script: ScriptDirectory, revision: str | None) -> None:
    try:
        if revision is not None:
            script.get_revision(revision)
    except CommandError as error:
        raise NewerStore(revision or "") from error
