"""Two engines, one to write and one to read.

SQLite has one writer at a time. A writer takes the write lock with its first statement, so that
a check and the write after it belong together. A reader never takes it: otherwise one long
recall question would stop every scan. On PostgreSQL rows are locked where it matters instead.
"""

import sqlite3
from typing import Final

from sqlalchemy import Connection, Engine, ExceptionContext, create_engine, event, make_url
from sqlalchemy.exc import DBAPIError, OperationalError

from traceability.errors import StoreAway

LOST_RACE: Final = {"SQLITE_CONSTRAINT_UNIQUE", "SQLITE_CONSTRAINT_PRIMARYKEY", "23505"}
TIMED_OUT: Final = {"SQLITE_BUSY", "SQLITE_BUSY_RECOVERY", "SQLITE_BUSY_SNAPSHOT"} | {
    "55P03",  # lock not available
    "40P01",  # deadlock; five-character codes: PostgreSQL 15 manual, appendix A
}
NO_CONNECTION: Final = ("08", "57P")
"""Connection exceptions, and a server that shuts down or starts (PostgreSQL 15, appendix A)."""
NO_ROOM: Final = {"SQLITE_FULL", "SQLITE_IOERR_WRITE", "SQLITE_READONLY", "53100"}

FOR_WRITING: Final = """
    PRAGMA journal_mode = WAL;
    PRAGMA synchronous = FULL;
    PRAGMA foreign_keys = ON;
    PRAGMA recursive_triggers = ON;
    PRAGMA secure_delete = ON;
"""
"""Full: an answered scan survives a power cut. Recursive triggers: else `INSERT OR REPLACE`
deletes a ledger row unseen. Secure delete: an erased text leaves no copy in free pages."""

FOR_READING: Final = "PRAGMA query_only = ON;"


def make_writer(url: str, *, lock_timeout_ms: int = 5_000) -> Engine:
    """Return the engine for use cases; on SQLite each transaction starts with the write lock."""
    if is_sqlite(url):
        wait = f"PRAGMA busy_timeout = {lock_timeout_ms};"
        return _sqlite_engine(url, wait + FOR_WRITING, begin="BEGIN IMMEDIATE")
    options = f"-c lock_timeout={lock_timeout_ms}"
    return _says_when_away(create_engine(url, connect_args={"options": options}))


def make_reader(url: str, *, lock_timeout_ms: int = 5_000) -> Engine:
    """Return the engine for reads: it cannot write, and one transaction sees one state."""
    if is_sqlite(url):
        wait = f"PRAGMA busy_timeout = {lock_timeout_ms};"
        return _sqlite_engine(url, wait + FOR_READING, begin="BEGIN")
    read_only = {"options": "-c default_transaction_read_only=on"}
    return _says_when_away(
        create_engine(url, connect_args=read_only, isolation_level="REPEATABLE READ")
    )


def is_sqlite(url: str) -> bool:
    """Tell the embedded database from a server."""
    return make_url(url).get_backend_name() == "sqlite"


def is_lost_race(error: DBAPIError) -> bool:
    """Tell a clash of unique keys from a mistake such as a missing NOT NULL value."""
    return _reason(error) in LOST_RACE


def is_time_out(error: DBAPIError) -> bool:
    """Tell "others were writing" from a store that is broken or full."""
    return _reason(error) in TIMED_OUT


def is_no_room(error: DBAPIError) -> bool:
    """Tell a full or read-only disk from other failures."""
    return _reason(error) in NO_ROOM


def _says_when_away(engine: Engine) -> Engine:
    """Let a server that cannot be reached, or is going down, be known by a failure of its own."""

    @event.listens_for(engine, "handle_error")
    def _judge(context: ExceptionContext) -> StoreAway | None:
        reason = getattr(context.original_exception, "sqlstate", None) or ""
        silent = isinstance(context.sqlalchemy_exception, OperationalError) and not reason
        away = context.is_disconnect or silent or reason.startswith(NO_CONNECTION)
        return StoreAway() if away else None

    return engine


def _sqlite_engine(url: str, pragmas: str, *, begin: str) -> Engine:
    # Python's driver begins only at the first write, and never for a read: both are taken over.
    engine = create_engine(url)

    @event.listens_for(engine, "connect")
    def _prepare(connection: sqlite3.Connection, _record: object) -> None:
        connection.isolation_level = None
        connection.executescript(pragmas)

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        connection.exec_driver_sql(begin)

    return engine


def _reason(error: DBAPIError) -> str:
    on_sqlite: str = getattr(error.orig, "sqlite_errorname", "")
    return on_sqlite or getattr(error.orig, "sqlstate", None) or ""
