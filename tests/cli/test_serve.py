"""`serve` as a process: what is killed comes back, what is left behind is nothing.

The application here is a small one, found as the real one is: by its name in the folder where the
service is started. So these tests are about processes, sockets and locks alone.
"""

import json
import os
import re
import signal
import socket
import ssl
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import pytest

from tests.servers import PostgresServer
from traceability.heartbeat import heartbeat_file, read_heartbeat

TOP: Final = Path(__file__).parents[2]
SOON_S: Final = 15
APPLICATION: Final = """
import json, os, time

def create_app(settings):
    def application(environ, start):
        if environ["PATH_INFO"] == "/slow":
            open("begun", "w").close()
            time.sleep(1)
        start("200 OK", [("Content-Type", "application/json")])
        facts = {
            "process": os.getpid(),
            "scheme": environ["wsgi.url_scheme"],
            "practice": settings.practice,
            "secure": settings.secure_cookies,
        }
        return [json.dumps(facts).encode()]
    return application
"""


@dataclass(slots=True)
class Ward:
    """A folder with a store, where commands are given."""

    folder: Path
    environment: dict[str, str]

    @property
    def var(self) -> Path:
        return self.folder / "var"

    def start(self, *arguments: str) -> subprocess.Popen[str]:
        return subprocess.Popen(
            [sys.executable, "-m", "traceability", *arguments],
            cwd=self.folder,
            env=self.environment,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            stdin=subprocess.DEVNULL,
            text=True,
        )

    def run(self, *arguments: str) -> tuple[int, str, str]:
        """Carry a command out; return exit code, results and all else that it said."""
        process = self.start(*arguments)
        said, beside = process.communicate(timeout=60)
        return process.returncode, said, beside


@dataclass(slots=True)
class Serving:
    """A service that answers."""

    process: subprocess.Popen[str]
    address: str
    trust: ssl.SSLContext | None = None

    def facts(self, path: str = "/") -> dict[str, Any]:
        where = self.address + path
        with urllib.request.urlopen(where, timeout=SOON_S, context=self.trust) as answer:
            facts: dict[str, Any] = json.load(answer)
            return facts


@pytest.fixture
def ward(tmp_path: Path) -> Ward:
    (tmp_path / "app.py").write_text(APPLICATION)
    kept = {name: os.environ[name] for name in ("PATH", "HOME") if name in os.environ}
    ward = Ward(tmp_path, {**kept, "PYTHONPATH": str(TOP)})
    assert ward.run("migrate")[0] == 0
    return ward


@pytest.fixture
def serve(ward: Ward) -> Iterator[Callable[..., Serving]]:
    """Start the service and wait until it says where it is."""
    running: list[subprocess.Popen[str]] = []

    def _serve(*options: str) -> Serving:
        process = ward.start("serve", "--port", "0", *options)
        running.append(process)
        assert process.stdout is not None
        line = process.stdout.readline()
        found = re.search(r"https?://[\w.:\[\]]+", line)
        assert found, f"{line}\n{process.stderr and process.stderr.read()}"
        return Serving(process, found[0])

    yield _serve
    for process in running:
        process.terminate()
        process.communicate(timeout=SOON_S)


def _until(what: Callable[[], Any]) -> Any:
    """Return what is asked for as soon as it is there."""
    give_up = time.monotonic() + SOON_S
    while time.monotonic() < give_up:
        try:
            if found := what():
                return found
        except (OSError, urllib.error.URLError):
            pass
        time.sleep(0.05)
    pytest.fail("it did not happen in time")


def test_a_second_service_on_the_store_is_refused_with_a_sentence(
    ward: Ward, serve: Callable[..., Serving]
) -> None:
    serving = serve()
    code, said, why = ward.run("serve", "--port", "0")
    assert (code, said) == (3, "")
    assert f"being served already, by process {serving.process.pid}" in why
    assert serving.facts()["scheme"] == "http"


def test_practice_is_another_store_beside_the_real_one(
    ward: Ward, serve: Callable[..., Serving]
) -> None:
    assert ward.run("migrate", "--practice")[0] == 0
    real, practice = serve(), serve("--practice")
    assert (real.facts()["practice"], practice.facts()["practice"]) == (False, True)


@pytest.mark.torture
def test_a_killed_web_process_is_back_at_the_same_address(serve: Callable[..., Serving]) -> None:
    serving = serve()
    killed = serving.facts()["process"]
    os.kill(killed, signal.SIGKILL)
    assert _until(serving.facts)["process"] != killed


@pytest.mark.torture
def test_a_killed_worker_is_back_and_says_so(ward: Ward, serve: Callable[..., Serving]) -> None:
    serve()
    killed = _until(lambda: read_heartbeat(heartbeat_file(ward.var))).process
    os.kill(killed, signal.SIGKILL)
    assert _until(
        lambda: (beat := read_heartbeat(heartbeat_file(ward.var))) and beat.process != killed
    )


@pytest.mark.torture
def test_a_killed_service_leaves_no_process_and_no_lock(
    ward: Ward, serve: Callable[..., Serving]
) -> None:
    serving = serve()
    web, worker = (
        serving.facts()["process"],
        _until(lambda: read_heartbeat(heartbeat_file(ward.var))).process,
    )
    serving.process.kill()
    assert _until(lambda: not any(Path(f"/proc/{each}").exists() for each in (web, worker)))
    assert serve().facts()["process"] != web


def test_it_stops_when_told_and_ends_well(serve: Callable[..., Serving]) -> None:
    serving = serve()
    started = time.monotonic()
    serving.process.terminate()
    assert serving.process.wait(SOON_S) == 0
    assert time.monotonic() - started < 5
    with pytest.raises(urllib.error.URLError):
        serving.facts()


def test_an_answer_that_is_under_way_is_given_before_it_stops(
    ward: Ward, serve: Callable[..., Serving]
) -> None:
    serving = serve()
    with ThreadPoolExecutor(1) as pool:
        asked = pool.submit(serving.facts, "/slow")
        _until((ward.folder / "begun").exists)
        serving.process.terminate()
        assert asked.result(SOON_S)["scheme"] == "http"
    assert serving.process.wait(SOON_S) == 0


@pytest.mark.torture
def test_it_stops_soon_at_whatever_moment_it_is_told(
    ward: Ward, serve: Callable[..., Serving]
) -> None:
    """Also while its processes are still starting: a signal there must not get lost."""
    for tenths in range(6):
        serving = serve()
        time.sleep(tenths / 10)
        started = time.monotonic()
        serving.process.terminate()
        assert serving.process.wait(SOON_S) == 0
        assert time.monotonic() - started < 5


def test_with_tls_a_tablet_that_trusts_the_authority_gets_in(
    ward: Ward, serve: Callable[..., Serving]
) -> None:
    serving = serve("--tls")
    serving.trust = ssl.create_default_context(cafile=str(ward.var / "tls" / "authority.pem"))
    facts = serving.facts()
    assert (facts["scheme"], facts["secure"]) == ("https", True)
    serving.process.terminate()
    _, how = serving.process.communicate(timeout=SOON_S)
    assert "install it as a certificate authority" in how
    assert re.search(r"([0-9A-F]{2}:){31}[0-9A-F]{2}", how)


def test_on_postgresql_several_processes_answer(
    ward: Ward, serve: Callable[..., Serving], postgres_server: PostgresServer
) -> None:
    name = postgres_server.create()
    ward.environment["TRACEABILITY_DATABASE_URL"] = postgres_server.url(name)
    assert ward.run("migrate")[0] == 0
    serving = serve()
    assert _until(lambda: len({serving.facts()["process"] for _ in range(20)}) > 1)


def test_a_port_in_use_is_said_and_not_traced(ward: Ward) -> None:
    with socket.create_server(("127.0.0.1", 0)) as other_program:
        code, _, why = ward.run("serve", "--port", str(other_program.getsockname()[1]))
    assert code == 3
    assert "Another program may be using it" in why
    assert "Traceback" not in why


def test_a_store_without_tables_is_not_served(tmp_path: Path) -> None:
    ward = Ward(tmp_path, {"PATH": os.environ["PATH"], "PYTHONPATH": str(TOP)})
    code, _, why = ward.run("serve")
    assert (code, "traceability migrate" in why) == (3, True)


def test_an_application_that_cannot_start_ends_the_service(ward: Ward) -> None:
    (ward.folder / "app.py").write_text("import no_such_module\n")
    code, said, why = ward.run("serve", "--port", "0")
    assert (code, said) == (3, "")
    assert why.strip().endswith("The pages cannot be started; the reason stands above.")
    assert "no_such_module" in why


def test_a_key_file_that_is_none_is_said_and_left_alone(ward: Ward) -> None:
    (ward.var / "keys.json").write_text("{}")
    code, _, why = ward.run("serve", "--port", "0")
    assert (code, "is not a key file" in why, "Traceback" in why) == (3, True, False)
    assert (ward.var / "keys.json").read_text() == "{}"


def test_a_misspelt_setting_stops_the_start(ward: Ward) -> None:
    ward.environment["TRACEABILITY_ZOEN"] = "Europe/Stockholm"
    code, _, why = ward.run("serve")
    assert code == 2
    assert "TRACEABILITY_ZOEN is not a setting" in why
