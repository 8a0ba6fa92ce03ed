"""Circuits: what they are, where they stood, what they went through, and who signed."""

from datetime import datetime
from typing import Final
from uuid import UUID

from sqlalchemy import Index, UniqueConstraint, text
from sqlalchemy.orm import Mapped, mapped_column

from traceability.storage.base import IN_ORDER, Base, Entity, Link, one_open, same_site
from traceability.storage.triggers import never_changes

LOT_KNOWN: Final = text("lot_id IS NOT NULL")

LOT_UNKNOWN: Final = text("lot_id IS NULL AND state <> 'not-fitted'")
"""A part is in, and its lot is not known: what a recall has to look at besides the lot itself.

Ticked parts too: of a cap it is known that one is fitted, and not from which lot.
"""

DISPUTED: Final = text("disputed")

NO_LONGER: Final = text("superseded_no IS NOT NULL")
"""Rows that are not believed any more: few, and counted by when that came."""

NEVER_WAS: Final = "void"
"""Reason code of a circuit whose very beginning was voided: it stands nowhere and holds nothing."""

NEVER_WAS_ROW: Final = text("reason = 'void'")
""" `NEVER_WAS` as an index knows it: circuits whose beginning was voided are few."""


class Circuit(Entity, Base):
    """One circuit, from the beginning of its prime, or from its arrival."""

    __tablename__ = "circuit"
    __table_args__ = (
        UniqueConstraint("site_id", "number"),
        Index("ix_circuit_site_id_begun_no", "site_id", "begun_no"),
        Index("ix_circuit_site_id_begun_at", "site_id", "begun_at"),
        Index("ix_circuit_site_id_circuit_type", "site_id", "circuit_type", "begun_at"),
        Index("ix_circuit_site_id_contents", "site_id", "contents", "begun_no"),
        Index("ix_circuit_site_id_prime_ended_no", "site_id", "prime_ended_no", "begun_no"),
    )
    number: Mapped[str]
    """"C-0419", "X-0031": what people say and tags show."""
    origin: Mapped[str]
    circuit_type: Mapped[str]
    sheet_version: Mapped[int]
    primer_id: Mapped[UUID | None]
    helper_id: Mapped[UUID | None]
    begun_at: Mapped[datetime]
    begun_no: Mapped[int]
    contents: Mapped[str]
    """"recorded", or "not-recorded" for what came from elsewhere or with a tag nobody knew.

    As it began, for good: what has been listed since is in `storage.moves`."""
    prime_ended_no: Mapped[int | None]
    """Number of the event that ended its prime. Until then empty places say nothing: a part may be
    in that nobody has recorded yet."""
    kept_id: Mapped[UUID | None]
    """The text kept apart for a circuit without a record: where it came from, or the tag read."""


class Sheet(Base):
    """One version of a circuit type's build sheet."""

    __tablename__ = "sheet"
    site_id: Mapped[UUID] = mapped_column(primary_key=True)
    circuit_type: Mapped[str] = mapped_column(primary_key=True)
    version: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    body: Mapped[str]
    """Canonical JSON; see `domain.sheets`."""
    recorded_no: Mapped[int]


class CircuitPhase(Link, Base):
    """The phase a circuit was in."""

    __tablename__ = "circuit_phase"
    __table_args__ = (
        same_site("circuit_id", "circuit"),
        one_open("one_open_phase", "circuit_id"),
        Index("ix_circuit_phase_site_id_circuit_id", "site_id", "circuit_id", *IN_ORDER),
        Index("ix_circuit_phase_site_id_phase", "site_id", "phase", "superseded_no", "valid_to"),
        Index(
            "ix_circuit_phase_never_was",
            # What the condition says already, first: SQLite would else take another index.
            "reason",
            "site_id",
            "circuit_id",
            sqlite_where=NEVER_WAS_ROW,
            postgresql_where=NEVER_WAS_ROW,
        ),
    )
    circuit_id: Mapped[UUID]
    phase: Mapped[str]
    reason: Mapped[str]
    """Code of why, for a discard or a take for a mission; else empty."""


class CircuitPlace(Link, Base):
    """Where a circuit stood."""

    __tablename__ = "circuit_place"
    __table_args__ = (
        same_site("circuit_id", "circuit"),
        same_site("place_id", "place"),
        one_open("one_open_place", "circuit_id"),
        Index("ix_circuit_place_site_id_circuit_id", "site_id", "circuit_id", *IN_ORDER),
        Index("ix_circuit_place_site_id_place_id", "site_id", "place_id", "valid_from"),
    )
    circuit_id: Mapped[UUID]
    place_id: Mapped[UUID]


class Prime(Link, Base):
    """The end of a prime and the use-by that counts from it; `valid_from` is the prime's end."""

    __tablename__ = "prime"
    __table_args__ = (
        same_site("circuit_id", "circuit"),
        one_open("one_open_prime", "circuit_id"),
        Index("ix_prime_site_id_circuit_id", "site_id", "circuit_id", *IN_ORDER),
    )
    circuit_id: Mapped[UUID]
    use_by: Mapped[datetime]
    decides: Mapped[str]
    """Canonical JSON: code and facts of the limit that decides."""
    comes_next: Mapped[str]
    """Canonical JSON of the limit that would decide next; "null" where there is none."""
    fill_ml: Mapped[int]
    co2_ml_min: Mapped[int | None]
    policy_version: Mapped[int]


class Signature(Link, Base):
    """One of the two signatures under a prime; `valid_from` is when it was given."""

    __tablename__ = "signature"
    __table_args__ = (
        same_site("circuit_id", "circuit"),
        one_open("one_signature_a_part", "circuit_id", "part"),
        one_open("two_different_people", "circuit_id", "person_id"),
        Index("ix_signature_site_id_circuit_id", "site_id", "circuit_id", *IN_ORDER),
        Index("ix_signature_site_id_person_id", "site_id", "person_id", *IN_ORDER),
    )
    circuit_id: Mapped[UUID]
    part: Mapped[str]
    """"primer" or "helper"."""
    person_id: Mapped[UUID]
    meaning: Mapped[str]
    """"primed", or "assisted and checked" (21 CFR 11.50)."""
    content_digest: Mapped[str]
    """SHA-256 of what was signed, in canonical form (21 CFR 11.70)."""


class Part(Link, Base):
    """A part, bag or pack in a place of a circuit.

    A row says what the record knows of one piece in one place. A circuit's end does not touch it:
    the time in the circuit is cut by the circuit's own end where it is read.
    """

    __tablename__ = "part"
    __table_args__ = (
        same_site("circuit_id", "circuit"),
        one_open("one_open_use_of_a_unit", "unit_id", also="unit_id IS NOT NULL"),
        one_open("one_open_part_in_a_place", "circuit_id", "slot", "ordinal"),
        Index("ix_part_site_id_circuit_id", "site_id", "circuit_id", *IN_ORDER),
        Index(
            "ix_part_lot",
            "lot_id",
            "circuit_id",
            "recorded_no",
            "superseded_no",
            # Else SQLite takes it for gaps, and reads every part that never had a lot.
            sqlite_where=LOT_KNOWN,
            postgresql_where=LOT_KNOWN,
        ),
        Index("ix_part_unit", "unit_id"),
        Index(
            "ix_part_gap",
            "kind",
            "product_id",
            "superseded_no",
            "recorded_no",
            "circuit_id",
            "state",
            sqlite_where=LOT_UNKNOWN,
            postgresql_where=LOT_UNKNOWN,
        ),
        Index("ix_part_disputed", "kind", sqlite_where=DISPUTED, postgresql_where=DISPUTED),
        Index(
            "ix_part_no_longer",
            "superseded_no",
            "site_id",
            sqlite_where=NO_LONGER,
            postgresql_where=NO_LONGER,
        ),
    )
    circuit_id: Mapped[UUID]
    part_id: Mapped[UUID]
    """The piece itself; stays the same when its row is superseded."""
    slot: Mapped[str]
    ordinal: Mapped[int]
    """Which of the slot's parts, from 1."""
    kind: Mapped[str]
    state: Mapped[str]
    known: Mapped[str]
    product_id: Mapped[UUID | None]
    lot_id: Mapped[UUID | None]
    serial: Mapped[str | None]
    unit_id: Mapped[UUID | None]
    """Product and serial as one key; one unit stands in one circuit only."""
    expiry: Mapped[str | None]
    """As printed: "2027-03-31", or "2027-03" where only the month was given."""
    volume_ml: Mapped[int | None]
    leaves: Mapped[bool]
    """Used while priming only: it ends with the prime."""
    stays: Mapped[bool]
    """A fluid: it stays in the circuit until its end, whatever happens to the bag."""
    pack_part_id: Mapped[UUID | None]
    """The pack that brought it."""


for _table in ("circuit_phase", "circuit_place", "prime", "signature", "part"):
    never_changes(Base.metadata.tables[_table], but_once="superseded_no")
