"""What other hospitals said of a circuit, and to whom a circuit went."""

from collections.abc import Collection
from uuid import UUID

from sqlalchemy import Index, select
from sqlalchemy.orm import Mapped, Session

from traceability.storage.base import IN_ORDER, Base, Link, believed_at, one_open, same_site
from traceability.storage.circuits import Circuit
from traceability.storage.triggers import never_changes


class ForeignList(Link, Base):
    """What the sending hospital said is in a circuit; the newest list counts.

    Its parts are rows of `Part`, with the number of the same event. `Circuit.contents` says how a
    circuit began and never changes: whether its contents are known as of a ledger number is told
    by the list that was believed then.
    """

    __tablename__ = "foreign_list"
    __table_args__ = (
        same_site("circuit_id", "circuit"),
        one_open("one_open_list", "circuit_id"),
        Index("ix_foreign_list_site_id_circuit_id", "site_id", "circuit_id", *IN_ORDER),
    )
    circuit_id: Mapped[UUID]
    complete: Mapped[bool]
    """Every part is in the list; those that are not in it are not in the circuit."""
    kept_id: Mapped[UUID | None]
    """Who stated it, kept apart."""
    file_digest: Mapped[str]
    """SHA-256 of the file it came in; empty where a person entered it."""


class Handover(Link, Base):
    """A circuit left for another hospital; `valid_from` is when."""

    __tablename__ = "handover"
    __table_args__ = (
        same_site("circuit_id", "circuit"),
        Index("ix_handover_site_id_circuit_id", "site_id", "circuit_id", *IN_ORDER),
    )
    circuit_id: Mapped[UUID]
    kept_id: Mapped[UUID | None]
    """Where to, kept apart."""
    file_digest: Mapped[str]
    """SHA-256 of the contents that were handed over."""


for _table in ("foreign_list", "handover"):
    never_changes(Base.metadata.tables[_table], but_once="superseded_no")


def list_of(session: Session, circuit: Circuit, as_of_no: int | None = None) -> ForeignList | None:
    """Return the newest list of the sending hospital, if there is one."""
    rows = (
        select(ForeignList)
        .where(
            ForeignList.site_id == circuit.site_id,
            ForeignList.circuit_id == circuit.id,
            believed_at(ForeignList, as_of_no),
        )
        .order_by(ForeignList.recorded_no.desc())
        .limit(1)
    )
    return session.scalar(rows)


def handover_of(session: Session, circuit: Circuit, as_of_no: int | None = None) -> Handover | None:
    """Return where the circuit went last, if it left."""
    rows = (
        select(Handover)
        .where(
            Handover.site_id == circuit.site_id,
            Handover.circuit_id == circuit.id,
            believed_at(Handover, as_of_no),
        )
        .order_by(Handover.recorded_no.desc())
        .limit(1)
    )
    return session.scalar(rows)


def listed_whole(
    session: Session, sites: Collection[UUID], circuit_ids: Collection[UUID], as_of_no: int
) -> set[UUID]:
    """Return which of these circuits had a complete list at that ledger number."""
    rows = select(ForeignList.circuit_id).where(
        ForeignList.site_id.in_(sites),
        ForeignList.circuit_id.in_(circuit_ids),
        ForeignList.complete,
        believed_at(ForeignList, as_of_no),
    )
    return set(session.scalars(rows))


def contents_known(session: Session, circuit: Circuit) -> bool:
    """Tell whether everything in the circuit is known now: by us, or by a complete list."""
    if circuit.contents == "recorded":
        return True
    listed = list_of(session, circuit)
    return listed is not None and listed.complete
