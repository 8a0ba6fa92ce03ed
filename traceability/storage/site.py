"""The site itself, its places, and its policy in versions."""

from datetime import datetime
from uuid import UUID

from sqlalchemy.orm import Mapped, mapped_column

from traceability.storage.base import Base, Entity


class Site(Base):
    """The one site of a store; a regional copy holds several."""

    __tablename__ = "site"
    site_id: Mapped[UUID] = mapped_column(primary_key=True)
    name: Mapped[str]
    unit: Mapped[str]
    ring: Mapped[str]
    """The number to ring, as printed on tags."""
    code: Mapped[str]
    """Four characters that our own symbols carry, so that another site's tag is told apart."""
    practice: Mapped[bool]


class Place(Entity, Base):
    """Where a circuit, a part or a machine can stand."""

    __tablename__ = "place"
    code: Mapped[str]
    """Short name in the symbol on the place."""
    name: Mapped[str]
    kind: Mapped[str]
    """console, box, shelf, trolley, bed, store, bin."""
    stands_for: Mapped[str | None]
    """"mounted" or "boxed" where a ready circuit has to stand; else None."""
    sort: Mapped[int]
    active: Mapped[bool]
    wanted: Mapped[int] = mapped_column(server_default="1")
    """How many ready circuits have to stand here; counts only where it stands for something."""
    accepts: Mapped[str] = mapped_column(server_default="[]")
    """Canonical JSON list of the circuit types that are right here; empty: any."""
    least_left_minutes: Mapped[int] = mapped_column(server_default="0")
    """So far away the use-by of what is counted here must still be."""


class Policy(Base):
    """One version of the unit's limits; circuits keep the one in force when they were primed."""

    __tablename__ = "policy"
    site_id: Mapped[UUID] = mapped_column(primary_key=True)
    version: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    body: Mapped[str]
    """Canonical JSON of the limits."""
    set_at: Mapped[datetime]
    recorded_no: Mapped[int]


class Series(Base):
    """The last number given out per letter: C circuits, R runs, X foreign circuits."""

    __tablename__ = "series"
    site_id: Mapped[UUID] = mapped_column(primary_key=True)
    letter: Mapped[str] = mapped_column(primary_key=True)
    last: Mapped[int]


class TagKey(Base):
    """Another site's public key: with it, what that site's tags say can be verified."""

    __tablename__ = "tag_key"
    site_id: Mapped[UUID] = mapped_column(primary_key=True)
    public_key: Mapped[str] = mapped_column(primary_key=True)
    """64 hexadecimal digits."""
    name: Mapped[str]
    unit: Mapped[str]
    code: Mapped[str]
    """The four characters that the other site's symbols carry, as it says of itself."""
    active: Mapped[bool]
    """False: withdrawn; what it signed is then no longer stated by a site that is known."""
    recorded_no: Mapped[int]
