"""Signed heads of the ledger, noted in a file of their own from time to time.

Who can write to the database can rewrite the whole chain, or cut off its end. A signed head says
what the ledger was at a time: the file is copied elsewhere, and `verify` compares.
"""

import json
import os
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Final
from uuid import UUID

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

from traceability.security.keys import Keys

FILE: Final = "heads.jsonl"


class HeadsUnreadable(Exception):
    """A line of the file is not a signed head of ours; the message says which."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SignedHead:
    """What the end of a site's ledger was at a moment, signed with the site's key."""

    site_id: UUID
    number: int
    hash: str
    at: datetime
    """Aware UTC, by this machine's clock."""
    signature: bytes
    """Ed25519 (RFC 8032), 64 bytes, over `signed_text`."""


def signed_text(site_id: UUID, number: int, head_hash: str, at: datetime) -> bytes:
    """Return the bytes that are signed: JSON in ASCII, keys sorted, no blanks."""
    facts = {"at": at.isoformat(), "hash": head_hash, "number": number, "site": str(site_id)}
    return json.dumps(facts, sort_keys=True, separators=(",", ":")).encode("ascii")


def note_head(
    var_dir: Path, keys: Keys, site_id: UUID, number: int, head_hash: str, at: datetime
) -> SignedHead:
    """Sign the head and add it to the file, safe from a power cut.

    Raises:
        OSError: the file cannot be written.
    """
    text = signed_text(site_id, number, head_hash, at)
    signature = keys.sign(text)
    line = {**json.loads(text), "signature": signature.hex()}
    descriptor = os.open(var_dir / FILE, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
    with os.fdopen(descriptor, "w", encoding="ascii") as file:
        file.write(json.dumps(line, sort_keys=True) + "\n")
        file.flush()
        os.fsync(file.fileno())
    return SignedHead(site_id=site_id, number=number, hash=head_hash, at=at, signature=signature)


def noted_heads(path: Path, site_id: UUID, public_key: bytes) -> Iterator[SignedHead]:
    """Yield the heads of this site in the file, oldest first; none if there is no file.

    Raises:
        HeadsUnreadable: a line was changed, or signed with another key.
    """
    if not path.exists():
        return
    key = Ed25519PublicKey.from_public_bytes(public_key)
    for number, line in enumerate(path.read_text(encoding="ascii").splitlines(), start=1):
        try:
            head = _read(line)
            key.verify(head.signature, signed_text(head.site_id, head.number, head.hash, head.at))
        except (ValueError, KeyError, TypeError, InvalidSignature) as error:
            raise HeadsUnreadable(
                f"Line {number} of {path} was changed after it was signed, or is signed with "
                "another key than this store's."
            ) from error
        if head.site_id == site_id:
            yield head


def _read(line: str) -> SignedHead:
    facts = json.loads(line)
    return SignedHead(
        site_id=UUID(facts["site"]),
        number=int(facts["number"]),
        hash=str(facts["hash"]),
        at=datetime.fromisoformat(facts["at"]),
        signature=bytes.fromhex(facts["signature"]),
    )
