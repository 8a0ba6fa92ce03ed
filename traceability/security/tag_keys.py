"""The key that signs what tags say, and who signed a text that was read.

It is a key of its own: made from the site's secret by HKDF (RFC 5869), so that a signature under a
tag can never be one under a head of the ledger, and no second secret has to be kept safe. Another
site gets the public half and compares its fingerprint by telephone.
"""

import json
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from hashlib import sha256
from typing import Final

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF

from traceability.security.keys import Keys

PURPOSE: Final = b"circuit-traceability tag contents 1"
"""Stands before what is signed, too: a text of another purpose never verifies as a tag's."""
KEY_BYTES: Final = 32
MOST_BYTES: Final = 10_000
"""A key's file is a few hundred bytes; a longer one is something else."""


class WrongKeyFile(ValueError):
    """It is not the public key of a site; the message says what is wrong."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PublicKey:
    """Another site's public key, with what it says of itself."""

    public: bytes
    site_name: str
    unit: str
    site_code: str

    @property
    def fingerprint(self) -> str:
        """Twenty digits in groups of four, to be read over a telephone (of SHA-256, 80 bits)."""
        return fingerprint(self.public)


def fingerprint(public: bytes) -> str:
    """Return the fingerprint of a public key."""
    digits = sha256(public).hexdigest()[:20].upper()
    return " ".join(digits[at : at + 4] for at in range(0, len(digits), 4))


def tag_signer(keys: Keys) -> Callable[[str], bytes]:
    """Return the function that signs a text: 64 bytes, Ed25519 (RFC 8032)."""
    private = _private(keys)
    return lambda text: private.sign(_under(text))


def tag_public(keys: Keys) -> bytes:
    """Return the 32-byte public key that others verify this site's tags with."""
    return _private(keys).public_key().public_bytes_raw()


def signed_by(text: str, signature: bytes, among: Iterable[bytes]) -> bytes | None:
    """Return the public key that made the signature; None: none of these did."""
    for public in among:
        try:
            Ed25519PublicKey.from_public_bytes(public).verify(signature, _under(text))
        except (InvalidSignature, ValueError):
            continue
        return public
    return None


def write_key_file(key: PublicKey) -> str:
    """Return the file that is sent to another site. There is no secret in it."""
    facts = {
        "for": "verifying what circuit tags of this site say",
        "site": key.site_name,
        "unit": key.unit,
        "code": key.site_code,
        "public_key": key.public.hex(),
        "fingerprint": key.fingerprint,
    }
    return json.dumps(facts, indent=2, ensure_ascii=False) + "\n"


def read_key_file(content: bytes) -> PublicKey:
    """Return the key that another site sent.

    Raises:
        WrongKeyFile: it is something else, or was changed on the way.
    """
    try:
        facts: object = json.loads(content[: MOST_BYTES + 1])
    except (ValueError, RecursionError):
        facts = None
    if not isinstance(facts, Mapping) or len(content) > MOST_BYTES:
        raise WrongKeyFile("This is not a key that `keys export` wrote.")
    said = {name: facts.get(name) for name in ("site", "unit", "code", "public_key")}
    try:
        public = bytes.fromhex(str(said["public_key"]))
    except ValueError:
        public = b""
    if len(public) != KEY_BYTES or not all(isinstance(each, str) for each in said.values()):
        raise WrongKeyFile("The key in this file is not whole. Ask for it again.")
    key = PublicKey(
        public=public,
        site_name=str(said["site"])[:200],
        unit=str(said["unit"])[:200],
        site_code=str(said["code"])[:4],
    )
    if facts.get("fingerprint") != key.fingerprint:
        raise WrongKeyFile("Key and fingerprint in this file differ. Ask for it again.")
    return key


def _private(keys: Keys) -> Ed25519PrivateKey:
    made = HKDF(algorithm=SHA256(), length=KEY_BYTES, salt=None, info=PURPOSE).derive(keys.signing)
    return Ed25519PrivateKey.from_private_bytes(made)


def _under(text: str) -> bytes:
    return PURPOSE + b"\n" + text.encode("utf-8", "replace")
