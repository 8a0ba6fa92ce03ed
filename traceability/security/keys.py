"""The site's secrets: one file of mode 0600, never in the database, a backup or an export."""

import json
import os
import secrets
from dataclasses import dataclass, field
from pathlib import Path

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey


class KeyFileUnreadable(Exception):
    """The key file is there and is not what it should be. Nothing was changed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Keys:
    """What the site keeps to itself."""

    digest: bytes = field(repr=False)
    """32 bytes for keyed digests of badges, tokens and asked bodies."""
    signing: bytes = field(repr=False)
    """32 bytes: Ed25519 private key (RFC 8032) for heads and tags."""

    def sign(self, text: bytes) -> bytes:
        """Return the 64-byte Ed25519 signature of `text`."""
        return Ed25519PrivateKey.from_private_bytes(self.signing).sign(text)

    @property
    def public(self) -> bytes:
        """The 32-byte public key that others verify with."""
        return Ed25519PrivateKey.from_private_bytes(self.signing).public_key().public_bytes_raw()


def new_keys() -> Keys:
    """Return fresh random keys."""
    return Keys(
        digest=secrets.token_bytes(32),
        signing=Ed25519PrivateKey.generate().private_bytes_raw(),
    )


def load_keys(var_dir: Path, *, name: str = "keys.json") -> Keys:
    """Return the site's keys; the first time they are made and written, with the folder.

    Raises:
        KeyFileUnreadable: the file exists and holds something else.
        OSError: the folder cannot be written.
    """
    var_dir.mkdir(mode=0o700, parents=True, exist_ok=True)
    path = var_dir / name
    try:
        stored = json.loads(path.read_text("ascii"))
        return Keys(
            digest=bytes.fromhex(stored["digest"]), signing=bytes.fromhex(stored["signing"])
        )
    except FileNotFoundError:
        return _make(path)
    except (ValueError, KeyError, TypeError) as error:
        raise KeyFileUnreadable(
            f"{path} is not a key file. Put the saved copy back; without it badges and PINs stop."
        ) from error


def _make(path: Path) -> Keys:
    keys = new_keys()
    text = json.dumps({"digest": keys.digest.hex(), "signing": keys.signing.hex()})
    # Written beside and linked into place: a killed process leaves no half key file, and of two
    # processes that start at once the first one's keys stay.
    draft = path.with_name(f"{path.name}.{os.getpid()}")
    with os.fdopen(os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
    try:
        os.link(draft, path)
    except FileExistsError:
        return load_keys(path.parent, name=path.name)
    finally:
        draft.unlink()
    return keys
