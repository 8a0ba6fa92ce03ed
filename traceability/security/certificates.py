"""A certificate authority of this machine's own, for tablets on the ward's network.

Browsers give camera, off-line work and safe cookies only to https, and no public authority signs
names like "trolley-3" or 192.168.4.20. So the service makes an authority, once, which each tablet
is told to trust, and signs its own certificate with it, anew whenever names or dates require.
"""

import ipaddress
import os
import socket
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Final

from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

AUTHORITY_LASTS: Final = timedelta(days=3650)
SERVER_LASTS: Final = timedelta(days=397)
"""Tablets refuse longer ones: 398 days is the most that the CA/Browser Forum's Baseline
Requirements allowed a server (section 6.3.2; from memory, limits fall further for public ones)."""
RENEW_BEFORE: Final = timedelta(days=30)
CLOCKS_MAY_DIFFER_BY: Final = timedelta(days=1)

Signer = ec.EllipticCurvePrivateKey


@dataclass(frozen=True, slots=True, kw_only=True)
class ServerCertificate:
    """Files that a TLS server needs, and what a person compares."""

    chain: Path
    """PEM: the server's certificate, then the authority's."""
    key: Path
    """PEM, mode 0600."""
    authority: Path
    """PEM of the authority, to be carried to the tablets; no secret."""
    authority_fingerprint: str
    """SHA-256 of the authority's certificate, in pairs of hex digits with colons."""
    names: tuple[str, ...]
    not_after: datetime


def server_certificate(folder: Path, names: Iterable[str], *, now: datetime) -> ServerCertificate:
    """Return a certificate for these host names and addresses; make what is missing or due.

    The authority is made once and kept: making it anew would mean a walk to every tablet.

    Raises:
        OSError: the folder cannot be read or written.
        ValueError: a file in it is not what it should be; it was left alone.
    """
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    wanted = tuple(sorted(set(names)))
    signer, authority = _authority(folder, now)
    chain, key = folder / "server.pem", folder / "server.key"
    certificate = _usable(chain, key, wanted, authority, now) or _sign(
        chain, key, wanted, signer, authority, now
    )
    return ServerCertificate(
        chain=chain,
        key=key,
        authority=folder / "authority.pem",
        authority_fingerprint=authority.fingerprint(hashes.SHA256()).hex(":").upper(),
        names=wanted,
        not_after=certificate.not_valid_after_utc,
    )


def names_of_this_machine() -> list[str]:
    """Return the names and addresses under which a tablet can reach this machine."""
    host = socket.gethostname()
    found = {"localhost", "127.0.0.1", "::1", host, socket.getfqdn()}
    with suppress(OSError):  # a machine may not know its own name: the address below serves
        found |= {str(info[4][0]) for info in socket.getaddrinfo(host, None)}
    # Nothing is sent: "connecting" a datagram socket only asks which way packets would leave.
    # 192.0.2.1 belongs to nobody (RFC 5737, section 3).
    # Without a network it fails, and names alone have to do.
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe, suppress(OSError):
        probe.connect(("192.0.2.1", 9))
        found.add(probe.getsockname()[0])
    return sorted(name.partition("%")[0] for name in found if name)


def _authority(folder: Path, now: datetime) -> tuple[Signer, x509.Certificate]:
    at, key_at = folder / "authority.pem", folder / "authority.key"
    if at.exists() and key_at.exists():
        key = serialization.load_pem_private_key(key_at.read_bytes(), password=None)
        if not isinstance(key, Signer):
            raise ValueError(f"{key_at} does not hold the authority's key")
        return key, x509.load_pem_x509_certificate(at.read_bytes())
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name(
        [
            x509.NameAttribute(
                NameOID.COMMON_NAME, f"Circuit Traceability on {_short(socket.gethostname())}"
            )
        ]
    )
    certificate = (
        _certificate(name, name, key.public_key(), now, AUTHORITY_LASTS)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(signs=True), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256())
    )
    _write(key_at, _pem(key), mode=0o600)
    _write(at, certificate.public_bytes(serialization.Encoding.PEM), mode=0o644)
    return key, certificate


def _usable(
    chain: Path, key: Path, names: tuple[str, ...], authority: x509.Certificate, now: datetime
) -> x509.Certificate | None:
    """Return the certificate that is there, if it can serve on."""
    if not (chain.exists() and key.exists()):
        return None
    there = x509.load_pem_x509_certificates(chain.read_bytes())[0]
    alternatives = there.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    covered = {str(name.value) for name in alternatives}
    try:
        there.verify_directly_issued_by(authority)
    except (ValueError, TypeError, InvalidSignature):  # of an authority that was made anew since
        return None
    serves = covered == set(names)
    lasts = there.not_valid_before_utc <= now < there.not_valid_after_utc - RENEW_BEFORE
    return there if serves and lasts else None


def _sign(
    chain: Path,
    key_at: Path,
    names: tuple[str, ...],
    signer: Signer,
    authority: x509.Certificate,
    now: datetime,
) -> x509.Certificate:
    key = ec.generate_private_key(ec.SECP256R1())
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, _short(names[0]))])
    issued_by = authority.extensions.get_extension_for_class(x509.SubjectKeyIdentifier).value
    certificate = (
        _certificate(subject, authority.subject, key.public_key(), now, SERVER_LASTS)
        .add_extension(x509.SubjectAlternativeName(map(_general_name, names)), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(signs=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_subject_key_identifier(issued_by),
            critical=False,
        )
        .sign(signer, hashes.SHA256())
    )
    encoded = (each.public_bytes(serialization.Encoding.PEM) for each in (certificate, authority))
    _write(key_at, _pem(key), mode=0o600)
    _write(chain, b"".join(encoded), mode=0o644)
    return certificate


def _certificate(
    subject: x509.Name,
    issuer: x509.Name,
    key: ec.EllipticCurvePublicKey,
    now: datetime,
    lasts: timedelta,
) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key)
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - CLOCKS_MAY_DIFFER_BY)
        .not_valid_after(now - CLOCKS_MAY_DIFFER_BY + lasts)
    )


def _usage(*, signs: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not signs,
        key_cert_sign=signs,
        crl_sign=signs,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        encipher_only=False,
        decipher_only=False,
    )


def _general_name(name: str) -> x509.GeneralName:
    try:
        return x509.IPAddress(ipaddress.ip_address(name))
    except ValueError:
        return x509.DNSName(name)


def _short(name: str) -> str:
    """Return what a common name can hold: 64 characters (RFC 5280, ub-common-name)."""
    return name[:40]


def _pem(key: Signer) -> bytes:
    return key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )


def _write(path: Path, content: bytes, *, mode: int) -> None:
    draft = path.with_name(f"{path.name}.{os.getpid()}")
    with os.fdopen(os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, mode), "wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    draft.replace(path)
