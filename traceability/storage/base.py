"""What all tables share: naming of constraints, keys of a site's rows, and the two time lines."""

from datetime import datetime
from typing import Final
from uuid import UUID

from sqlalchemy import ColumnElement, ForeignKeyConstraint, Index, MetaData, and_, or_, text
from sqlalchemy.orm import DeclarativeBase, Mapped, declared_attr, mapped_column

from traceability.storage.types import AnyText, Key, UtcDateTime

FIRST_PREVIOUS_HASH: Final = "0" * 64


class Base(DeclarativeBase):
    """Maps annotations to column types, and names constraints so that migrations find them."""

    type_annotation_map = {datetime: UtcDateTime, UUID: Key, str: AnyText}  # noqa: RUF012
    metadata = MetaData(
        naming_convention={
            "ix": "ix_%(table_name)s_%(column_0_N_name)s",
            "uq": "uq_%(table_name)s_%(column_0_N_name)s",
            "ck": "ck_%(table_name)s_%(constraint_name)s",
            "fk": "fk_%(table_name)s_%(column_0_N_name)s",
            "pk": "pk_%(table_name)s",
        }
    )


class Entity:
    """A thing of a site with an id of its own."""

    site_id: Mapped[UUID] = mapped_column(primary_key=True)
    id: Mapped[UUID] = mapped_column(primary_key=True)


class Link:
    """That something was so, on two time lines.

    Valid time says when it was so in the room, half-open. Recorded time is the ledger number:
    from which event on this row is believed, and from which on no longer. Ending or correcting a
    link supersedes the row and adds another; `superseded_no` is the only column ever set later.
    The key is the event and the line within it, so that a rebuild makes the very same rows.
    """

    site_id: Mapped[UUID] = mapped_column(primary_key=True)
    recorded_no: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    line: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    valid_from: Mapped[datetime]
    valid_to: Mapped[datetime | None]
    disputed: Mapped[bool] = mapped_column(default=False)
    """Another claim on the same thing stood at that time; kept until a named person rules."""
    superseded_no: Mapped[int | None]

    @declared_attr.directive
    def __mapper_args__(cls) -> dict[str, object]:  # noqa: N805
        """Rows are flushed one by one in the order added: nothing is fetched back."""
        return {"eager_defaults": False}


IN_ORDER: Final = ("recorded_no", "line")
"""The last columns of an index of links by what they belong to: rows come in the order recorded.

They are not only for sorting. A question for one circuit "in order" would else be answered by
SQLite through the primary key, which has that order and passes over all rows of the site, unless
somebody has run ANALYZE: 300 ms a scan in a store of 100,000 circuits.
"""


def same_site(column: str, table: str) -> ForeignKeyConstraint:
    """Return the key from (site_id, column) to an entity of the same site."""
    return ForeignKeyConstraint(["site_id", column], [f"{table}.site_id", f"{table}.id"])


def one_open(name: str, *columns: str, also: str = "") -> Index:
    """Return the unique index for "one open, undisputed link"; disputed claims stay outside it."""
    where = text(
        "valid_to IS NULL AND superseded_no IS NULL AND NOT disputed" + (also and f" AND {also}")
    )
    return Index(name, "site_id", *columns, unique=True, sqlite_where=where, postgresql_where=where)


def believed_at(link: type[Link], number: int | None) -> ColumnElement[bool]:
    """Return the condition for rows believed at ledger number `number`; None means now."""
    if number is None:
        return link.superseded_no.is_(None)
    return and_(
        # "+ 0": this condition fits nearly every row, so it may not choose the index. SQLite takes
        # the primary key's (site, number) for it unless somebody has run ANALYZE.
        link.recorded_no + 0 <= number,
        or_(link.superseded_no.is_(None), link.superseded_no > number),
    )
