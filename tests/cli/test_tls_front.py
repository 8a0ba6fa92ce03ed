"""https in front of the real web server, from other addresses of this machine."""

import gc
import socket
import ssl
import threading
import time
import warnings
from collections.abc import Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from http.client import HTTPConnection, HTTPException
from pathlib import Path
from typing import Any, NamedTuple

import pytest
from waitress.server import create_server

from traceability.cli.tls_front import Environ, StartResponse, TlsFront
from traceability.security.certificates import server_certificate

THREADS = 2


class Front(NamedTuple):
    """Where the service is, and the port that nobody but it should use."""

    port: int
    behind: int
    trust: ssl.SSLContext
    callers: list[socket.socket]


def _application(environ: Environ, start: StartResponse) -> Iterable[bytes]:
    body = environ["wsgi.input"].read()
    start("200 OK", [("Content-Type", "text/plain")])
    told = f"{environ['REMOTE_ADDR']} {environ['wsgi.url_scheme']} {len(body)} "
    return [told.encode() + body[-5:]]


@pytest.fixture
def front(tmp_path: Path) -> Iterator[Front]:
    certificate = server_certificate(tmp_path, ["127.0.0.1"], now=datetime.now(UTC))
    listening = socket.create_server(("127.0.0.1", 0))
    tls = TlsFront(listening, chain=str(certificate.chain), key=str(certificate.key))
    sockets: dict[int, Any] = {}
    server: Any = create_server(
        tls.guard(_application),
        map=sockets,
        host="127.0.0.1",
        port=0,
        threads=THREADS,
        url_scheme="https",
    )
    serving = threading.Thread(target=server.run, daemon=True)
    serving.start()
    tls.start(int(server.effective_port))
    trust = ssl.create_default_context(cafile=str(certificate.authority))
    callers: list[socket.socket] = []
    yield Front(listening.getsockname()[1], int(server.effective_port), trust, callers)
    for each in callers:
        each.close()
    tls.stop()
    server.trigger.pull_trigger(lambda: [each.close() for each in list(sockets.values())])
    serving.join(5)
    server.task_dispatcher.shutdown()


def _connect(front: Front, source: str = "127.0.0.1") -> ssl.SSLSocket:
    plain = socket.create_connection(("127.0.0.1", front.port), 10, source_address=(source, 0))
    secure = front.trust.wrap_socket(plain, server_hostname="127.0.0.1")
    front.callers.append(secure)
    return secure


def _ask(connection: socket.socket, body: bytes = b"") -> str:
    """Send a request over an open connection, and return the answer's status and body."""
    client = HTTPConnection("127.0.0.1")
    client.sock = connection
    client.request("POST", "/", body)
    with client.getresponse() as answer:
        return f"{answer.status} {answer.read().decode()}"


@pytest.mark.parametrize("source", ["127.0.0.1", "127.0.0.9"])
def test_the_application_sees_the_callers_own_address(front: Front, source: str) -> None:
    assert _ask(_connect(front, source), b"scan!") == f"200 {source} https 5 scan!"


def test_a_large_photo_arrives_whole(front: Front) -> None:
    photo = bytes(3_000_000) + b"final"
    assert _ask(_connect(front), photo).endswith("https 3000005 final")


def test_one_connection_carries_many_requests(front: Front) -> None:
    connection = _connect(front)
    answers = [_ask(connection, b"again") for _ in range(5)]
    assert all("5 again" in answer for answer in answers)


def test_thirty_tablets_at_once_are_all_answered(front: Front) -> None:
    with ThreadPoolExecutor(30) as pool:
        answers = list(pool.map(lambda _: _ask(_connect(front), b"x" * 100), range(30)))
    assert all("https 100 xxxxx" in answer for answer in answers)


def test_callers_that_never_finish_hold_nobody_up(front: Front) -> None:
    front.callers.extend(socket.create_connection(("127.0.0.1", front.port)) for _ in range(20))
    halfway = [_connect(front) for _ in range(20)]
    for each in halfway:
        each.sendall(b"POST / HTTP/1.1\r\nContent-Le")
    started = time.monotonic()
    assert "https 2 ok" in _ask(_connect(front), b"ok")
    assert time.monotonic() - started < 2  # with as many threads as callers it would be never


def test_plain_http_to_it_gets_no_answer_and_does_no_harm(front: Front) -> None:
    with (
        socket.create_connection(("127.0.0.1", front.port), 10) as plain,
        pytest.raises((ConnectionError, HTTPException)),
    ):
        _ask(plain)
    assert "https 2 ok" in _ask(_connect(front), b"ok")


def test_the_port_behind_turns_others_away(front: Front) -> None:
    with socket.create_connection(("127.0.0.1", front.behind), 10) as past:
        assert _ask(past).startswith("403")


def test_old_versions_of_tls_are_refused(front: Front) -> None:
    front.trust.minimum_version = ssl.TLSVersion.MINIMUM_SUPPORTED
    with pytest.warns(DeprecationWarning, match="TLSv1_1"):
        front.trust.maximum_version = ssl.TLSVersion.TLSv1_1
    with pytest.raises(ssl.SSLError):
        _connect(front)


def test_a_front_that_stops_lets_go_of_what_had_just_arrived(tmp_path: Path) -> None:
    certificate = server_certificate(tmp_path, ["127.0.0.1"], now=datetime.now(UTC))
    with warnings.catch_warnings(record=True) as told, socket.create_server(("", 0)) as behind:
        warnings.simplefilter("always")
        for _ in range(10):
            listening = socket.create_server(("127.0.0.1", 0))
            tls = TlsFront(listening, chain=str(certificate.chain), key=str(certificate.key))
            tls.start(behind.getsockname()[1])
            for _ in range(20):
                socket.create_connection(listening.getsockname()).close()
            tls.stop()
        del listening, tls
        gc.collect()
    assert [str(each.message) for each in told] == []
