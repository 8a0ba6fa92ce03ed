"""Drills: lots that the service picked and followed, and drills for people.

Why: a record is trusted as far as it was tried. Each week's outcome stays, with the seed and the
choice, so that a trend shows whether the record gets better. A lot's ways out of the shelf are
found by the lot alone, hence the index of stock changes.
Back: only while no drill was recorded.

Safe while the version before still serves: it adds tables and an index, and changes no row.
"""

from typing import Final

import sqlalchemy as sa
from alembic import op

from traceability.storage.append_only import never_changes
from traceability.storage.migrate import LosesRecords

revision = "0011"
down_revision = "0010"
branch_labels = None
depends_on = None

KEY: Final = sa.LargeBinary(16).with_variant(sa.Uuid(), "postgresql")
MOMENT: Final = sa.DateTime(timezone=True)

TABLES: Final = (
    "lot_drill",
    "lot_drilled",
    "people_drill",
    "people_drill_target",
    "people_drill_step",
)


def upgrade() -> None:
    _lots()
    _people()


def _lots() -> None:
    lot_drill = op.create_table(
        "lot_drill",
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("recorded_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("at", MOMENT, nullable=False),
        sa.Column("week", sa.Date(), nullable=False),
        sa.Column("by_hand", sa.Boolean(), nullable=False),
        sa.Column("seed", sa.String(), nullable=False),
        sa.Column("since_no", sa.Integer(), nullable=False),
        sa.Column("cut_no", sa.Integer(), nullable=False),
        sa.Column("wanted", sa.Integer(), nullable=False),
        sa.Column("candidates", sa.Integer(), nullable=False),
        sa.Column("definition", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("site_id", "recorded_no", name="pk_lot_drill"),
    )
    op.create_index(
        "one_drill_a_week",
        "lot_drill",
        ["site_id", "week"],
        unique=True,
        sqlite_where=sa.text("NOT by_hand"),
        postgresql_where=sa.text("NOT by_hand"),
    )
    never_changes("lot_drill", lot_drill.columns.keys())

    lot_drilled = op.create_table(
        "lot_drilled",
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("recorded_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("line", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("product_id", KEY, nullable=False),
        sa.Column("lot_id", KEY, nullable=False),
        sa.Column("whole", sa.Boolean(), nullable=False),
        sa.Column("units", sa.Integer(), nullable=False),
        sa.Column("reconciled", sa.Integer(), nullable=False),
        sa.Column("whereabouts", sa.String(), nullable=False),
        sa.Column("points", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(
            ["site_id", "lot_id"], ["lot.site_id", "lot.id"], name="fk_lot_drilled_site_id_lot_id"
        ),
        sa.ForeignKeyConstraint(
            ["site_id", "product_id"],
            ["product.site_id", "product.id"],
            name="fk_lot_drilled_site_id_product_id",
        ),
        sa.PrimaryKeyConstraint("site_id", "recorded_no", "line", name="pk_lot_drilled"),
    )
    never_changes("lot_drilled", lot_drilled.columns.keys())


def _people() -> None:
    op.create_table(
        "people_drill",
        sa.Column("product_id", KEY, nullable=False),
        sa.Column("lot_id", KEY, nullable=False),
        sa.Column("at_random", sa.Boolean(), nullable=False),
        sa.Column("begun_at", MOMENT, nullable=False),
        sa.Column("begun_no", sa.Integer(), nullable=False),
        sa.Column("begun_by", KEY, nullable=True),
        sa.Column("ended_at", MOMENT, nullable=True),
        sa.Column("stopped", sa.String(), nullable=False),
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("id", KEY, nullable=False),
        sa.ForeignKeyConstraint(
            ["site_id", "lot_id"],
            ["lot.site_id", "lot.id"],
            name="fk_people_drill_site_id_lot_id",
        ),
        sa.ForeignKeyConstraint(
            ["site_id", "product_id"],
            ["product.site_id", "product.id"],
            name="fk_people_drill_site_id_product_id",
        ),
        sa.PrimaryKeyConstraint("site_id", "id", name="pk_people_drill"),
    )
    op.create_index("ix_people_drill_site_id_begun_no", "people_drill", ["site_id", "begun_no"])
    op.create_index(
        "one_open_people_drill",
        "people_drill",
        ["site_id"],
        unique=True,
        sqlite_where=sa.text("ended_at IS NULL"),
        postgresql_where=sa.text("ended_at IS NULL"),
    )
    op.create_table(
        "people_drill_target",
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("drill_id", KEY, nullable=False),
        sa.Column("line", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("person_id", KEY, nullable=True),
        sa.Column("role", sa.String(), nullable=False),
        sa.Column("told_at", MOMENT, nullable=True),
        sa.Column("told_no", sa.Integer(), nullable=True),
        sa.Column("entered_by", KEY, nullable=True),
        sa.ForeignKeyConstraint(
            ["site_id", "drill_id"],
            ["people_drill.site_id", "people_drill.id"],
            name="fk_people_drill_target_site_id_drill_id",
        ),
        sa.PrimaryKeyConstraint("site_id", "drill_id", "line", name="pk_people_drill_target"),
    )
    people_drill_step = op.create_table(
        "people_drill_step",
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("recorded_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("drill_id", KEY, nullable=False),
        sa.Column("step", sa.String(), nullable=False),
        sa.Column("at", MOMENT, nullable=False),
        sa.Column("person_id", KEY, nullable=True),
        sa.Column("place_id", KEY, nullable=True),
        sa.ForeignKeyConstraint(
            ["site_id", "drill_id"],
            ["people_drill.site_id", "people_drill.id"],
            name="fk_people_drill_step_site_id_drill_id",
        ),
        sa.ForeignKeyConstraint(
            ["site_id", "place_id"],
            ["place.site_id", "place.id"],
            name="fk_people_drill_step_site_id_place_id",
        ),
        sa.PrimaryKeyConstraint("site_id", "recorded_no", name="pk_people_drill_step"),
    )
    op.create_index(
        "ix_people_drill_step_site_id_drill_id",
        "people_drill_step",
        ["site_id", "drill_id", "recorded_no"],
    )
    never_changes("people_drill_step", people_drill_step.columns.keys())


def downgrade() -> None:
    connection = op.get_bind()
    tables = [sa.table(name) for name in TABLES]
    if any(connection.scalar(sa.select(sa.func.count()).select_from(t)) for t in tables):
        acts = connection.scalar(sa.text("SELECT count(*) FROM event"))
        raise LosesRecords(
            f"This store holds {acts} recorded acts with drills among them, and without these "
            "tables they would be lost. Keep the store as it is."
        )
    for name in reversed(TABLES):
        op.drop_table(name)
