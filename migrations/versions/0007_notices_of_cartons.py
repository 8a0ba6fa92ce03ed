"""What makers tell about lots inside packs, and what people ruled about lot texts.

Why: a part that comes built into a pack is never scanned; only the maker's notice says which packs
hold which lot. And two texts that look alike are one lot only when a named person says so.
Back: only while no notice and no ruling was recorded.

Safe while the version before still serves: it adds tables and touches none.
"""

from typing import Final

import sqlalchemy as sa
from alembic import op

from traceability.storage.append_only import never_changes
from traceability.storage.migrate import LosesRecords

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None

KEY: Final = sa.LargeBinary(16).with_variant(sa.Uuid(), "postgresql")
MOMENT: Final = sa.DateTime(timezone=True)

TABLES: Final = ("carton_notice", "carton_notice_lot", "lot_ruling")


def upgrade() -> None:
    carton_notice = op.create_table(
        "carton_notice",
        sa.Column("product_id", KEY, nullable=False),
        sa.Column("inner_product_id", KEY, nullable=False),
        sa.Column("inner_lot_text", sa.String(), nullable=False),
        sa.Column("sole", sa.Boolean(), nullable=False),
        sa.Column("complete", sa.Boolean(), nullable=False),
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("recorded_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("line", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("valid_from", MOMENT, nullable=False),
        sa.Column("valid_to", MOMENT, nullable=True),
        sa.Column("disputed", sa.Boolean(), nullable=False),
        sa.Column("superseded_no", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["site_id", "inner_product_id"],
            ["product.site_id", "product.id"],
            name="fk_carton_notice_site_id_inner_product_id",
        ),
        sa.ForeignKeyConstraint(
            ["site_id", "product_id"],
            ["product.site_id", "product.id"],
            name="fk_carton_notice_site_id_product_id",
        ),
        sa.PrimaryKeyConstraint("site_id", "recorded_no", "line", name="pk_carton_notice"),
    )
    op.create_index(
        "ix_carton_notice_site_id_product_id",
        "carton_notice",
        ["site_id", "product_id", "recorded_no", "line"],
    )
    op.create_index(
        "ix_carton_notice_site_id_inner_product_id",
        "carton_notice",
        ["site_id", "inner_product_id", "recorded_no", "line"],
    )
    never_changes("carton_notice", carton_notice.columns.keys(), but_once="superseded_no")

    carton_notice_lot = op.create_table(
        "carton_notice_lot",
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("recorded_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("line", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("text", sa.String(), nullable=False),
        sa.Column("loose_key", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("site_id", "recorded_no", "line", name="pk_carton_notice_lot"),
    )
    op.create_index(
        "ix_carton_notice_lot_site_id_loose_key",
        "carton_notice_lot",
        ["site_id", "loose_key", "recorded_no"],
    )
    never_changes("carton_notice_lot", carton_notice_lot.columns.keys())

    lot_ruling = op.create_table(
        "lot_ruling",
        sa.Column("product_id", KEY, nullable=False),
        sa.Column("captured", sa.String(), nullable=False),
        sa.Column("notice", sa.String(), nullable=False),
        sa.Column("same", sa.Boolean(), nullable=False),
        sa.Column("person_id", KEY, nullable=True),
        sa.Column("kept_id", KEY, nullable=True),
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("recorded_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("line", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("valid_from", MOMENT, nullable=False),
        sa.Column("valid_to", MOMENT, nullable=True),
        sa.Column("disputed", sa.Boolean(), nullable=False),
        sa.Column("superseded_no", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["site_id", "product_id"],
            ["product.site_id", "product.id"],
            name="fk_lot_ruling_site_id_product_id",
        ),
        sa.PrimaryKeyConstraint("site_id", "recorded_no", "line", name="pk_lot_ruling"),
    )
    op.create_index(
        "ix_lot_ruling_site_id_product_id",
        "lot_ruling",
        ["site_id", "product_id", "recorded_no", "line"],
    )
    never_changes("lot_ruling", lot_ruling.columns.keys(), but_once="superseded_no")


def _tables() -> list[sa.TableClause]:
    return [sa.table(name) for name in TABLES]


def downgrade() -> None:
    connection = op.get_bind()
    if any(connection.scalar(sa.select(sa.func.count()).select_from(t)) for t in _tables()):
        acts = connection.scalar(sa.text("SELECT count(*) FROM event"))
        raise LosesRecords(
            f"This store holds {acts} recorded acts, notices on packs or rulings on lots among "
            "them; without these tables they would be lost. Keep the store as it is."
        )
    for name in reversed(TABLES):
        op.drop_table(name)
