"""People, devices, and what proves that somebody is who they say."""

from datetime import datetime
from uuid import UUID

from sqlalchemy import Index, text
from sqlalchemy.orm import Mapped, mapped_column

from traceability.storage.base import Base, Entity


class Person(Entity, Base):
    """Somebody who works here. Never deleted; who left is no longer active."""

    __tablename__ = "person"
    __table_args__ = (
        Index(
            "one_person_a_badge",
            "badge_digest",
            unique=True,
            sqlite_where=text("badge_digest IS NOT NULL"),
            postgresql_where=text("badge_digest IS NOT NULL"),
        ),
    )
    name: Mapped[str]
    roles: Mapped[str]
    """Names of roles, joined by commas."""
    active: Mapped[bool]
    badge_digest: Mapped[str | None]
    """Keyed digest of the badge code; the code itself is nowhere."""


class Device(Entity, Base):
    """A trolley tablet, a phone, a browser at a desk, or the service itself."""

    __tablename__ = "device"
    name: Mapped[str]
    place: Mapped[str]
    owner: Mapped[str]
    enrolled: Mapped[bool]
    revoked: Mapped[bool]
    token_digest: Mapped[str | None]
    """Keyed digest of the secret in the device's cookie."""


class Credential(Base):
    """What is not in the ledger: the PIN's hash. A rebuild leaves it as it is."""

    __tablename__ = "credential"
    person_id: Mapped[UUID] = mapped_column(primary_key=True)
    pin_hash: Mapped[str]
    """argon2id, with its parameters and salt."""
    one_time: Mapped[bool]
    """A code to be replaced at the first sign-in."""


class PinFailure(Base):
    """Wrong tries per person and device since the last right one."""

    __tablename__ = "pin_failure"
    badge_digest: Mapped[str] = mapped_column(primary_key=True)
    device_id: Mapped[UUID] = mapped_column(primary_key=True)
    tries: Mapped[int]
    last_at: Mapped[datetime]


class SignIn(Base):
    """A browser session; the cookie holds only the token whose digest this is."""

    __tablename__ = "sign_in"
    token_digest: Mapped[str] = mapped_column(primary_key=True)
    device_id: Mapped[UUID]
    person_id: Mapped[UUID]
    started_at: Mapped[datetime]
    seen_at: Mapped[datetime]
    ended_at: Mapped[datetime | None]


class EnrolCode(Base):
    """A one-time code with which a browser becomes an enrolled device."""

    __tablename__ = "enrol_code"
    code_digest: Mapped[str] = mapped_column(primary_key=True)
    device_id: Mapped[UUID]
    expires_at: Mapped[datetime | None]
    used_at: Mapped[datetime | None]
