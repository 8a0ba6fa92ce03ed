"""Column types that mean the same on both databases."""

import re
from datetime import UTC, datetime
from functools import lru_cache
from typing import Final
from uuid import UUID

from sqlalchemy import DateTime, Dialect, LargeBinary, String, TypeDecorator, Uuid
from sqlalchemy.types import TypeEngine


class UtcDateTime(TypeDecorator[datetime]):
    """Aware UTC in Python on every database; SQLite itself keeps no time zone."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Refuse naive times: a local time written as UTC cannot be told apart later."""
        if value is not None and value.tzinfo is None:
            raise ValueError(f"naive datetime {value!r}")
        return value and value.astimezone(UTC)

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Read back as aware UTC."""
        if value is None or value.tzinfo is not None:
            return value and value.astimezone(UTC)
        return value.replace(tzinfo=UTC)


MARK: Final = "\x1a"
"""SUBSTITUTE: control character for what could not be represented (ISO/IEC 6429)."""
_CANNOT_BE_STORED = re.compile(r"[\x00\x1a\ud800-\udfff]")
_STANDS_FOR = re.compile(r"\x1a([0-9a-f]{4})")


class AnyText(TypeDecorator[str]):
    """Text that comes back as it was read, whatever characters a scanner or a script sent.

    PostgreSQL takes no NUL, neither database takes half a surrogate pair, and both can arrive; a
    take must not fail for it. Such a character is stored as SUBSTITUTE and its four hex digits.
    """

    impl = String
    cache_ok = True

    def process_bind_param(self, value: str | None, dialect: Dialect) -> str | None:
        """Replace what no database keeps."""
        if value is None or _CANNOT_BE_STORED.search(value) is None:
            return value
        return _CANNOT_BE_STORED.sub(lambda found: f"{MARK}{ord(found[0]):04x}", value)

    def process_result_value(self, value: str | None, dialect: Dialect) -> str | None:
        """Put it back."""
        if value is None or MARK not in value:
            return value
        return _STANDS_FOR.sub(lambda found: chr(int(found[1], 16)), value)


class Key(TypeDecorator[UUID]):
    """A UUID: PostgreSQL's own type there, 16 bytes on SQLite (half of the usual text form)."""

    impl = LargeBinary(16)
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[object]:
        """Choose the database's own type where it has one."""
        chosen = Uuid() if dialect.name == "postgresql" else LargeBinary(16)
        return dialect.type_descriptor(chosen)  # type: ignore[arg-type]

    def process_bind_param(self, value: UUID | None, dialect: Dialect) -> UUID | bytes | None:
        """Write bytes where the database has no type for it."""
        return value if value is None or dialect.name == "postgresql" else value.bytes

    def process_result_value(self, value: UUID | bytes | None, dialect: Dialect) -> UUID | None:
        """Read back as UUID."""
        return _key_of(value) if isinstance(value, bytes) else value


@lru_cache(maxsize=1 << 14)
def _key_of(value: bytes) -> UUID:
    """Return the UUID; most keys of a long answer are those of few sites, products and lots."""
    return UUID(bytes=value)
