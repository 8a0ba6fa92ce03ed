"""The stock book: what came in, what changed it, and what each place holds of each lot.

Why: receipts, moves and counts of parts are recorded, and the page says how many more circuits can
be primed.
Back: while no stock has been recorded. After that its receipts and counts would be lost.

It is safe while the version before still serves: that one neither reads nor writes these tables,
and pieces which it records meanwhile are settled by the next count.
"""

from typing import Final

import sqlalchemy as sa
from alembic import op

from traceability.storage.append_only import never_changes
from traceability.storage.migrate import LosesRecords

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

KEY: Final = sa.LargeBinary(16).with_variant(sa.Uuid(), "postgresql")
MOMENT: Final = sa.DateTime(timezone=True)
SOME: Final = sa.text("quantity <> 0")

TABLES: Final = ("stock_book", "stock_level", "stock_receipt", "stock_change")


def upgrade() -> None:
    op.create_index(
        "ix_circuit_site_id_circuit_type", "circuit", ["site_id", "circuit_type", "begun_at"]
    )
    op.create_table(
        "stock_book",
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("product_id", KEY, nullable=False),
        sa.Column("begun_at", MOMENT, nullable=False),
        sa.Column("begun_no", sa.Integer(), nullable=False),
        sa.Column("counted_at", MOMENT, nullable=True),
        sa.PrimaryKeyConstraint("site_id", "product_id", name="pk_stock_book"),
        _of("stock_book", "product_id", "product"),
    )
    op.create_table(
        "stock_level",
        sa.Column("product_id", KEY, nullable=False),
        sa.Column("lot_id", KEY, nullable=True),
        sa.Column("place_id", KEY, nullable=True),
        sa.Column("quantity", sa.Integer(), nullable=False),
        sa.Column("counted_at", MOMENT, nullable=True),
        sa.Column("counted_no", sa.Integer(), nullable=True),
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("id", KEY, nullable=False),
        sa.PrimaryKeyConstraint("site_id", "id", name="pk_stock_level"),
        *_of_lot_and_place("stock_level"),
    )
    op.create_index(
        "ix_stock_level_some",
        "stock_level",
        ["site_id", "product_id"],
        sqlite_where=SOME,
        postgresql_where=SOME,
    )
    op.create_index("ix_stock_level_lot", "stock_level", ["lot_id", "product_id"])
    receipt = op.create_table(
        "stock_receipt",
        sa.Column("product_id", KEY, nullable=False),
        sa.Column("lot_id", KEY, nullable=True),
        sa.Column("quantity", sa.Integer(), nullable=False),
        sa.Column("expiry", sa.Date(), nullable=True),
        sa.Column("place_id", KEY, nullable=True),
        sa.Column("box", sa.String(), nullable=True),
        sa.Column("made", sa.Date(), nullable=True),
        sa.Column("shipped", sa.Date(), nullable=True),
        sa.Column("supplier_id", KEY, nullable=True),
        sa.Column("known", sa.String(), nullable=False),
        sa.Column("unit_id", KEY, nullable=True),
        sa.Column("device_id", KEY, nullable=False),
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("recorded_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("line", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("valid_from", MOMENT, nullable=False),
        sa.Column("valid_to", MOMENT, nullable=True),
        sa.Column("disputed", sa.Boolean(), nullable=False),
        sa.Column("superseded_no", sa.Integer(), nullable=True),
        sa.PrimaryKeyConstraint("site_id", "recorded_no", "line", name="pk_stock_receipt"),
        *_of_lot_and_place("stock_receipt"),
    )
    op.create_index(
        "ix_stock_receipt_site_id_product_id",
        "stock_receipt",
        ["site_id", "product_id", "lot_id", "recorded_no", "line"],
    )
    op.create_index("ix_stock_receipt_site_id_unit_id", "stock_receipt", ["site_id", "unit_id"])
    never_changes("stock_receipt", receipt.columns.keys(), but_once="superseded_no")
    changes = op.create_table(
        "stock_change",
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("recorded_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("line", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("at", MOMENT, nullable=False),
        sa.Column("product_id", KEY, nullable=False),
        sa.Column("lot_id", KEY, nullable=True),
        sa.Column("place_id", KEY, nullable=True),
        sa.Column("quantity", sa.Integer(), nullable=False),
        sa.Column("why", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("part_id", KEY, nullable=True),
        sa.PrimaryKeyConstraint("site_id", "recorded_no", "line", name="pk_stock_change"),
        *_of_lot_and_place("stock_change"),
    )
    op.create_index(
        "ix_stock_change_site_id_product_id",
        "stock_change",
        ["site_id", "product_id", "recorded_no", "line"],
    )
    op.create_index(
        "ix_stock_change_site_id_part_id",
        "stock_change",
        ["site_id", "part_id", "recorded_no", "line"],
    )
    never_changes("stock_change", changes.columns.keys())


def downgrade() -> None:
    connection = op.get_bind()
    acts = connection.scalar(
        sa.text(
            "SELECT count(*) FROM (SELECT recorded_no FROM stock_change "
            "UNION SELECT recorded_no FROM stock_receipt) AS acts"
        )
    )
    if acts:
        raise LosesRecords(
            f"This store holds {acts} recorded acts on stock, and they would be lost. Keep it as "
            "it is, and start with a new one elsewhere."
        )
    for name in reversed(TABLES):
        op.drop_table(name)
    op.drop_index("ix_circuit_site_id_circuit_type", "circuit")


def _of(table: str, column: str, target: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint(
        ["site_id", column],
        [f"{target}.site_id", f"{target}.id"],
        name=f"fk_{table}_site_id_{column}",
    )


def _of_lot_and_place(table: str) -> list[sa.ForeignKeyConstraint]:
    return [
        _of(table, "product_id", "product"),
        _of(table, "lot_id", "lot"),
        _of(table, "place_id", "place"),
    ]
