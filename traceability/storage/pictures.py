"""Photos of a laid-out trolley that were kept as evidence; the picture itself lies in `var/`."""

from uuid import UUID

from sqlalchemy import Index
from sqlalchemy.orm import Mapped

from traceability.storage.base import Base, Entity, same_site
from traceability.storage.triggers import never_changes


class PrimePicture(Entity, Base):
    """A photo from which parts were filled in. Erased, its row says that there was one."""

    __tablename__ = "prime_picture"
    __table_args__ = (
        same_site("circuit_id", "circuit"),
        Index("ix_prime_picture_site_id_circuit_id", "site_id", "circuit_id", "recorded_no"),
    )
    circuit_id: Mapped[UUID]
    recorded_no: Mapped[int]
    sent_sha256: Mapped[str]
    """Of the file as it was sent, which is not kept: what was filled in from it names it so."""
    sha256: Mapped[str]
    """Of the file that is kept, 64 hexadecimal digits: the dots alone."""
    size_bytes: Mapped[int]
    superseded_no: Mapped[int | None]
    """Number of the event that erased it; None: it is there."""


never_changes(Base.metadata.tables["prime_picture"], but_once="superseded_no")
