"""Certificates as a tablet sees them: judged by OpenSSL, not by the code that made them."""

import socket
import ssl
import stat
import threading
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from traceability.security.certificates import (
    ServerCertificate,
    names_of_this_machine,
    server_certificate,
)

NOW = datetime.now(UTC)
NAMES = ("trolley-3.norrvik.example", "192.168.4.20", "::1")


def _handshake(certificate: ServerCertificate, name: str) -> str | None:
    """Open a TLS connection as a tablet that trusts the authority; return the version agreed."""
    ours, theirs = socket.socketpair()
    server = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    server.load_cert_chain(certificate.chain, certificate.key)
    client = ssl.create_default_context(cafile=str(certificate.authority))
    client.verify_flags |= ssl.VERIFY_X509_STRICT

    def _answer() -> None:
        try:
            server.wrap_socket(ours, server_side=True).close()
        except OSError:
            ours.close()  # the tablet said no; it says why

    answering = threading.Thread(target=_answer)
    answering.start()
    try:
        with client.wrap_socket(theirs, server_hostname=name) as tablet:
            return tablet.version()
    finally:
        theirs.close()
        answering.join()


@pytest.mark.parametrize("name", NAMES)
def test_a_tablet_that_trusts_the_authority_opens_each_name(tmp_path: Path, name: str) -> None:
    assert _handshake(server_certificate(tmp_path, NAMES, now=NOW), name) == "TLSv1.3"


def test_another_name_is_refused(tmp_path: Path) -> None:
    certificate = server_certificate(tmp_path, NAMES, now=NOW)
    with pytest.raises(ssl.SSLCertVerificationError, match="not valid for"):
        _handshake(certificate, "trolley-4.norrvik.example")


def test_another_authority_is_refused(tmp_path: Path) -> None:
    ours = server_certificate(tmp_path / "ours", NAMES, now=NOW)
    theirs = server_certificate(tmp_path / "theirs", NAMES, now=NOW)
    swapped = ServerCertificate(
        chain=theirs.chain,
        key=theirs.key,
        authority=ours.authority,
        authority_fingerprint="",
        names=NAMES,
        not_after=NOW,
    )
    with pytest.raises(ssl.SSLCertVerificationError):
        _handshake(swapped, NAMES[0])


@pytest.mark.parametrize(
    ("days", "names", "anew"),
    [
        (0, NAMES, False),
        (300, NAMES, False),
        (380, NAMES, True),  # fewer than 30 days are left
        (0, (*NAMES, "10.1.2.3"), True),
        (0, NAMES[:2], True),  # a name that left must not stay covered
    ],
)
def test_it_is_made_anew_when_due_and_the_authority_never(
    tmp_path: Path, days: int, names: tuple[str, ...], anew: bool
) -> None:
    before = server_certificate(tmp_path, NAMES, now=NOW)
    chain = before.chain.read_bytes()
    after = server_certificate(tmp_path, names, now=NOW + timedelta(days=days))
    assert (after.chain.read_bytes() != chain) == anew
    assert after.authority_fingerprint == before.authority_fingerprint
    assert after.not_after > NOW + timedelta(days=days)


def test_keys_are_for_the_service_alone(tmp_path: Path) -> None:
    server_certificate(tmp_path / "tls", NAMES, now=NOW)
    modes = {path.name: stat.S_IMODE(path.stat().st_mode) for path in (tmp_path / "tls").iterdir()}
    assert modes["server.key"] == modes["authority.key"] == 0o600
    assert stat.S_IMODE((tmp_path / "tls").stat().st_mode) == 0o700


def test_this_machine_has_a_name_for_itself() -> None:
    assert {"localhost", "127.0.0.1"} <= set(names_of_this_machine())
