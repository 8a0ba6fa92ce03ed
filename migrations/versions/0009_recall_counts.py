"""What recalls read instead of counting: counters, pieces by serial, what is free of each lot.

Why: an answer over four shelves says how much of the record stands behind it and what the stock
book allows, within a blink and however large the record is. And a named person can say that a stock
book is complete.
Back: only while nobody has said that of a book; all else follows from other tables.

Safe while the version before still serves for reading; what it writes meanwhile is not counted.
"""

import json
from collections import defaultdict
from datetime import UTC, datetime
from typing import Any, Final
from uuid import UUID

import sqlalchemy as sa
from alembic import op

from traceability.domain.free_units import free_units
from traceability.domain.scopes import loose_key
from traceability.storage.append_only import never_changes
from traceability.storage.migrate import LosesRecords

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None

KEY: Final = sa.LargeBinary(16).with_variant(sa.Uuid(), "postgresql")
MOMENT: Final = sa.DateTime(timezone=True)
BLOCK: Final = 8192
NO_PRODUCT: Final = UUID(int=0)
ROWS_AT_ONCE: Final = 2000


def upgrade() -> None:
    counts = op.create_table(
        "part_count",
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("product_id", KEY, nullable=False),
        sa.Column("block", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("parts", sa.Integer(), nullable=False),
        sa.Column("with_lot", sa.Integer(), nullable=False),
        sa.Column("with_serial", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("site_id", "kind", "product_id", "block", name="pk_part_count"),
    )
    units = op.create_table(
        "unit_seen",
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("unit_id", KEY, nullable=False),
        sa.Column("product_id", KEY, nullable=False),
        sa.Column("serial", sa.String(), nullable=False),
        sa.Column("loose_key", sa.String(), nullable=False),
        _of("unit_seen", "product_id", "product"),
        sa.PrimaryKeyConstraint("site_id", "unit_id", name="pk_unit_seen"),
    )
    op.create_index("ix_unit_seen_product_id", "unit_seen", ["product_id", "loose_key", "site_id"])
    books = op.create_table(
        "lot_book",
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("lot_id", KEY, nullable=False),
        sa.Column("product_id", KEY, nullable=False),
        sa.Column("batches", sa.String(), nullable=False),
        sa.Column("short", sa.Boolean(), nullable=False),
        sa.Column("is_open", sa.Boolean(), nullable=False),
        sa.Column("changed_no", sa.Integer(), nullable=False),
        _of("lot_book", "lot_id", "lot"),
        sa.PrimaryKeyConstraint("site_id", "lot_id", name="pk_lot_book"),
    )
    op.create_index("ix_lot_book_product_id", "lot_book", ["product_id", "is_open", "changed_no"])
    words = op.create_table(
        "stock_book_word",
        sa.Column("product_id", KEY, nullable=False),
        sa.Column("complete", sa.Boolean(), nullable=False),
        sa.Column("person_id", KEY, nullable=True),
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("recorded_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("line", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("valid_from", MOMENT, nullable=False),
        sa.Column("valid_to", MOMENT, nullable=True),
        sa.Column("disputed", sa.Boolean(), nullable=False),
        sa.Column("superseded_no", sa.Integer(), nullable=True),
        _of("stock_book_word", "product_id", "product"),
        sa.PrimaryKeyConstraint("site_id", "recorded_no", "line", name="pk_stock_book_word"),
    )
    op.create_index(
        "ix_stock_book_word_site_id_product_id",
        "stock_book_word",
        ["site_id", "product_id", "recorded_no", "line"],
    )
    one_open = sa.text("valid_to IS NULL AND superseded_no IS NULL AND NOT disputed")
    op.create_index(
        "one_open_stock_book_word",
        "stock_book_word",
        ["site_id", "product_id"],
        unique=True,
        sqlite_where=one_open,
        postgresql_where=one_open,
    )
    never_changes("stock_book_word", words.columns.keys(), but_once="superseded_no")
    op.create_index(
        "ix_stock_change_lot_id", "stock_change", ["lot_id", "site_id", "recorded_no", "line"]
    )
    no_longer = sa.text("superseded_no IS NOT NULL")
    op.create_index(
        "ix_part_no_longer",
        "part",
        ["superseded_no", "site_id"],
        sqlite_where=no_longer,
        postgresql_where=no_longer,
    )
    _gaps_by("recorded_no", "circuit_id", "state")
    not_read = sa.text("serial IS NULL AND NOT none_used")
    op.create_index(
        "ix_equipment_use_unread",
        "equipment_use",
        ["kind", "site_id"],
        sqlite_where=not_read,
        postgresql_where=not_read,
    )
    connection = op.get_bind()
    _count_parts(connection, counts)
    _see_units(connection, units)
    _book_lots(connection, books)


def downgrade() -> None:
    said = op.get_bind().scalar(sa.text("SELECT count(*) FROM stock_book_word"))
    if said:
        raise LosesRecords(
            f"This store holds {said} recorded acts on whether a stock book is complete, and they "
            "would be lost. Keep it as it is."
        )
    _gaps_by("circuit_id")
    op.drop_index("ix_equipment_use_unread", "equipment_use")
    op.drop_index("ix_part_no_longer", "part")
    op.drop_index("ix_stock_change_lot_id", "stock_change")
    for name in ("stock_book_word", "lot_book", "unit_seen", "part_count"):
        op.drop_table(name)


def _gaps_by(*columns: str) -> None:
    """Let the index of parts without a lot end with these columns."""
    op.drop_index("ix_part_gap", "part")
    unknown = sa.text("lot_id IS NULL AND state <> 'not-fitted'")
    op.create_index(
        "ix_part_gap",
        "part",
        ["kind", "product_id", "superseded_no", *columns],
        sqlite_where=unknown,
        postgresql_where=unknown,
    )


def _of(table: str, column: str, target: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint(
        ["site_id", column],
        [f"{target}.site_id", f"{target}.id"],
        name=f"fk_{table}_site_id_{column}",
    )


def _table(name: str, *columns: str, **typed: sa.types.TypeEngine[Any]) -> sa.TableClause:
    made: list[Any] = [sa.column(each) for each in columns]
    return sa.table(name, *made, *(sa.column(each, kind) for each, kind in typed.items()))


def _parts(name: str) -> sa.TableClause:
    return _table(
        name,
        "kind",
        "state",
        "serial",
        site_id=KEY,
        product_id=KEY,
        lot_id=KEY,
        unit_id=KEY,
        recorded_no=sa.Integer(),
        superseded_no=sa.Integer(),
    )


def _count_parts(connection: sa.Connection, counts: sa.Table) -> None:
    found: dict[tuple[Any, str, Any, int], list[int]] = defaultdict(lambda: [0, 0, 0])
    no_product = _plain(connection, NO_PRODUCT)
    for part in (_parts("part"), _parts("run_part")):
        for number, sign in ((part.c.recorded_no, 1), (part.c.superseded_no, -1)):
            block = (number / BLOCK) if connection.dialect.name == "sqlite" else number // BLOCK
            block = sa.cast(block, sa.Integer())
            rows = (
                sa.select(
                    part.c.site_id,
                    part.c.kind,
                    part.c.product_id,
                    sa.func.min(number),
                    sa.func.count(),
                    sa.func.count(part.c.lot_id),
                    sa.func.count(part.c.serial),
                )
                .where(number.is_not(None), part.c.state != "not-fitted")
                .group_by(part.c.site_id, part.c.kind, part.c.product_id, block)
            )
            for site, kind, product, least, *counted in connection.execute(rows):
                key = (site, kind, product or no_product, least // BLOCK)
                for place, count in enumerate(counted):
                    found[key][place] += sign * count
    _insert(
        connection,
        counts,
        [
            {
                "site_id": site,
                "kind": kind,
                "product_id": product,
                "block": block,
                "parts": parts,
                "with_lot": with_lot,
                "with_serial": with_serial,
            }
            for (site, kind, product, block), (parts, with_lot, with_serial) in found.items()
        ],
    )


def _plain(connection: sa.Connection, key: UUID) -> UUID | bytes:
    return key.bytes if connection.dialect.name == "sqlite" else key


def _see_units(connection: sa.Connection, units: sa.Table) -> None:
    seen: dict[tuple[Any, Any], dict[str, Any]] = {}
    for part in (_parts("part"), _parts("run_part")):
        rows = sa.select(part.c.site_id, part.c.unit_id, part.c.product_id, part.c.serial).where(
            part.c.unit_id.is_not(None),
            part.c.product_id.is_not(None),
            part.c.serial.is_not(None),
        )
        for site, unit, product, serial in connection.execute(rows.order_by(part.c.recorded_no)):
            row = {"site_id": site, "unit_id": unit, "product_id": product, "serial": serial}
            seen.setdefault((site, unit), row | {"loose_key": loose_key(serial)})
    _insert(connection, units, list(seen.values()))


def _book_lots(connection: sa.Connection, books: sa.Table) -> None:
    change = _table(
        "stock_change",
        "why",
        "quantity",
        site_id=KEY,
        lot_id=KEY,
        product_id=KEY,
        part_id=KEY,
        recorded_no=sa.Integer(),
        at=MOMENT,
    )
    receipt = _table(
        "stock_receipt",
        "quantity",
        "superseded_no",
        site_id=KEY,
        lot_id=KEY,
        valid_from=MOMENT,
    )
    came: dict[tuple[Any, Any], list[tuple[datetime, int]]] = defaultdict(list)
    rows = sa.select(
        receipt.c.site_id, receipt.c.lot_id, receipt.c.valid_from, receipt.c.quantity
    ).where(receipt.c.lot_id.is_not(None), receipt.c.superseded_no.is_(None))
    for site, lot, at, units in connection.execute(rows):
        came[site, lot].append((_utc(at), units))
    lots: dict[tuple[Any, Any], list[Any]] = defaultdict(list)
    rows = sa.select(change).where(change.c.lot_id.is_not(None)).order_by(change.c.recorded_no)
    for row in connection.execute(rows):
        lots[row.site_id, row.lot_id].append(row)
    _insert(
        connection,
        books,
        [
            _book(key, changes, came[key])
            for key, changes in lots.items()
            if any(row.quantity and row.why != "stock-moved" for row in changes)
        ],
    )


def _book(
    key: tuple[Any, Any], changes: list[Any], received: list[tuple[datetime, int]]
) -> dict[str, Any]:
    by_part: dict[Any, int] = defaultdict(int)
    used_at: dict[Any, datetime] = {}
    by_event: dict[tuple[int, datetime], int] = defaultdict(int)
    for row in changes:
        if row.why in {"used", "given-back"}:
            by_part[row.part_id] += row.quantity
            if row.why == "used":
                used_at[row.part_id] = _utc(row.at)
        elif row.why in {"stock-counted", "stock-out"}:
            by_event[row.recorded_no, _utc(row.at)] += row.quantity
    used = [(used_at[part], -units) for part, units in by_part.items() if units < 0]
    used += [(at, -units) for (_, at), units in by_event.items() if units < 0]
    came = [*received, *((at, units) for (_, at), units in by_event.items() if units > 0)]
    free = free_units(came, used)
    pairs = [[at.isoformat(timespec="microseconds"), units] for at, units in free.batches]
    told = [row for row in changes if row.quantity and row.why != "stock-moved"]
    return {
        "site_id": key[0],
        "lot_id": key[1],
        "product_id": changes[0].product_id,
        "batches": json.dumps(pairs, separators=(",", ":")),
        "short": free.short,
        "is_open": bool(pairs) or free.short,
        "changed_no": told[-1].recorded_no,
    }


def _utc(at: datetime) -> datetime:
    return at.replace(tzinfo=UTC) if at.tzinfo is None else at.astimezone(UTC)


def _insert(connection: sa.Connection, table: sa.Table, rows: list[dict[str, Any]]) -> None:
    for start in range(0, len(rows), ROWS_AT_ONCE):
        connection.execute(table.insert(), rows[start : start + ROWS_AT_ONCE])
