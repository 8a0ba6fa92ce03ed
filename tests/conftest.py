"""Resources that tests share: real databases, a real browser, a real server.

Fakes would hide what goes wrong in use: lost transactions, locks, focus, time-outs. Each test has
a database of its own, copied from a template; each test process has its own PostgreSQL server.
"""

import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, settings
from playwright.sync_api import Browser, sync_playwright
from sqlalchemy import create_engine

from tests.printing.print_system import LabelPrinter, has_print_system, print_system
from tests.servers import PostgresServer, postgresql, served_by_waitress

settings.register_profile(
    "usual",
    max_examples=60,
    deadline=None,  # two tests share a core; a slow moment is no fault
    derandomize=True,  # the same run finds the same fault
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
settings.register_profile(
    "long", settings.get_profile("usual"), max_examples=3000, derandomize=False
)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "usual"))

DATABASES = ("sqlite", "postgresql")


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[PostgresServer]:
    """A PostgreSQL cluster of this test process, started at its first use."""
    with postgresql() as server:
        yield server


@pytest.fixture(params=DATABASES)
def database(request: pytest.FixtureRequest) -> str:
    """Which database the test runs on: it runs once on each."""
    return str(request.param)


@pytest.fixture
def empty_url(database: str, request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """The address of a database without tables, on SQLite and on PostgreSQL."""
    if database == "sqlite":
        yield f"sqlite:///{tmp_path / 'empty.db'}"
        return
    server: PostgresServer = request.getfixturevalue("postgres_server")
    name = server.create()
    yield server.url(name)
    server.drop(name)


@pytest.fixture
def url(database: str, request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """The address of a database with all tables and nothing in them, on both databases."""
    if database == "sqlite":
        copy = tmp_path / "test.db"
        shutil.copyfile(request.getfixturevalue("sqlite_template"), copy)
        yield f"sqlite:///{copy}"
        return
    server: PostgresServer = request.getfixturevalue("postgres_server")
    name = server.create(template=request.getfixturevalue("postgresql_template"))
    yield server.url(name)
    server.drop(name)


@pytest.fixture(scope="session")
def sqlite_template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An SQLite file with the tables, to be copied."""
    path = tmp_path_factory.mktemp("template") / "tables.db"
    _create_tables(f"sqlite:///{path}")
    return path


@pytest.fixture(scope="session")
def postgresql_template(postgres_server: PostgresServer) -> str:
    """The name of a PostgreSQL database with the tables, to be copied."""
    name = postgres_server.create()
    _create_tables(postgres_server.url(name))
    return name


def _create_tables(url: str) -> None:
    # Straight from the tables; `storage/test_migrations.py` proves that migrations end in the same.
    from traceability.storage.metadata import metadata  # noqa: PLC0415 - tests of pure rooms need none

    engine = create_engine(url)
    metadata.create_all(engine)
    engine.dispose()


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """The system's own Chromium, without a window; make a context of it for each person."""
    program = shutil.which("chromium") or shutil.which("chromium-browser")
    if program is None:
        pytest.fail("Chromium is missing; `make test` prints the command that installs it")
    quiet = [
        "--disable-background-networking",
        "--disable-component-update",
        "--disable-gpu",
        "--disable-quic",
        "--disable-sync",
        "--no-first-run",
    ]
    if os.geteuid() == 0:
        quiet.append("--no-sandbox")  # Chromium refuses to run as root with it
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=quiet)
        with closing(browser):
            yield browser


@pytest.fixture
def served() -> Iterator[Callable[[Callable[..., Any]], str]]:
    """Serves an application and returns its address, until the test ends."""
    with ExitStack() as running:
        yield lambda app: running.enter_context(served_by_waitress(app))


@pytest.fixture
def printer(monkeypatch: pytest.MonkeyPatch) -> Iterator[LabelPrinter]:
    """The system's own scheduler with two queues, and a label printer at their end."""
    if not has_print_system():
        pytest.fail("cups is not installed: run .ci/tools")
    with print_system() as running:
        monkeypatch.setenv("CUPS_SERVER", str(running.scheduler))
        yield running
