"""A prime that was left unfinished, and the pair that took it over."""

from uuid import UUID

from sqlalchemy import Index
from sqlalchemy.orm import Mapped

from traceability.storage.base import IN_ORDER, Base, Link, one_open, same_site
from traceability.storage.triggers import never_changes


class PrimePause(Link, Base):
    """Nobody works at this prime since `valid_from`; it ends when somebody takes it over.

    Whoever simply goes on scanning leaves the row open: the acts after it say that work goes on.
    """

    __tablename__ = "prime_pause"
    __table_args__ = (
        same_site("circuit_id", "circuit"),
        one_open("one_open_pause", "circuit_id"),
        Index("ix_prime_pause_site_id_circuit_id", "site_id", "circuit_id", *IN_ORDER),
    )
    circuit_id: Mapped[UUID]
    paused_by: Mapped[UUID | None]


class PrimePair(Link, Base):
    """Who primes and who helps since a hand-over; before it the circuit's row says so."""

    __tablename__ = "prime_pair"
    __table_args__ = (
        same_site("circuit_id", "circuit"),
        one_open("one_open_pair", "circuit_id"),
        Index("ix_prime_pair_site_id_circuit_id", "site_id", "circuit_id", *IN_ORDER),
    )
    circuit_id: Mapped[UUID]
    primer_id: Mapped[UUID | None]
    helper_id: Mapped[UUID | None]
    handed_by: Mapped[UUID | None]
    """Who handed over; None: nobody was named."""


for _table in ("prime_pause", "prime_pair"):
    never_changes(Base.metadata.tables[_table], but_once="superseded_no")
