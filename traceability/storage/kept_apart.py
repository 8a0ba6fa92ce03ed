"""Texts that must be erasable, beside a ledger that must not change; and ids made by the client.

An event holds only an id and a keyed digest (HMAC-SHA-256) of the text. Whoever holds text and
key can prove that the text is the one recorded; erasing both leaves the chain whole and nothing
to guess at. A plain digest would not do: hospital numbers are few enough to be tried out.
"""

import hmac
import secrets
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Final
from uuid import UUID

from sqlalchemy import Index
from sqlalchemy.orm import Mapped, Session, mapped_column

from traceability.storage.base import Base

EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)


class KeptApart(Base):
    """A text that must be erasable: patient reference, wristband, free text, unknown code."""

    __tablename__ = "kept_apart"
    # By the hash on PostgreSQL: it looks for whole texts only, and takes one of any length.
    __table_args__ = (Index("ix_kept_apart_text", "text", postgresql_using="hash"),)
    id: Mapped[UUID] = mapped_column(primary_key=True)
    text: Mapped[str | None]
    key: Mapped[bytes | None]
    """Both None once erased; without the key nobody can try texts against an event's digest."""


def keep_apart(session: Session, text: str, *, at: datetime) -> dict[str, str]:
    """Store the text and return what stands for it in an event's body: `kept` and `digest`."""
    key = secrets.token_bytes(32)
    kept = KeptApart(id=uuid7(at), text=text, key=key)
    session.add(kept)
    return {"kept": str(kept.id), "digest": keyed_digest(key, text)}


def erase_kept(session: Session, kept_id: UUID) -> None:
    """Erase text and key. The caller writes the event that says so; nothing else changes."""
    kept = session.get_one(KeptApart, kept_id)
    kept.text = kept.key = None


def is_as_recorded(kept: KeptApart, digest: str) -> bool | None:
    """Tell whether the text is the one the event speaks of; None once it has been erased."""
    if kept.text is None or kept.key is None:
        return None
    return hmac.compare_digest(keyed_digest(kept.key, kept.text), digest)


def keyed_digest(key: bytes, text: str) -> str:
    """Return HMAC-SHA-256 of the text's UTF-8 bytes as 64 hex digits.

    Half a surrogate pair, which UTF-8 has no bytes for, goes in as its three bytes: two different
    texts have two digests, and no text is without one.
    """
    return hmac.digest(key, text.encode("utf-8", "surrogatepass"), "sha256").hex()


def uuid7(at: datetime, *, bits: Callable[[int], int] = secrets.randbits) -> UUID:
    """Return a UUIDv7: milliseconds since 1970, then 74 random bits. Sorts by time made.

    Source: RFC 9562, section 5.7.
    """
    milliseconds = (at - EPOCH) // timedelta(milliseconds=1)
    head = milliseconds << 16 | 0x7 << 12 | bits(12)
    return UUID(int=head << 64 | 0b10 << 62 | bits(62))
