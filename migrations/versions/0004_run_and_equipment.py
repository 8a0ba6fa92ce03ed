"""Runs with their mode, run parts and equipment; additives; circuits kept for inspection.

Why: cannulae, machines and what was given into a prime are found by a recall as parts are, each
with its own times.
Back: only while none of it is recorded; then these tables go, and nothing else. It adds tables and
touches none that is there, so the version before may serve meanwhile.
"""

from typing import Final

import sqlalchemy as sa
from alembic import op

from traceability.storage.append_only import never_changes
from traceability.storage.migrate import LosesRecords

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

KEY: Final = sa.LargeBinary(16).with_variant(sa.Uuid(), "postgresql")
MOMENT: Final = sa.DateTime(timezone=True)
STILL_OPEN: Final = "valid_to IS NULL AND superseded_no IS NULL AND NOT disputed"
OPEN: Final = sa.text(STILL_OPEN)

TABLES: Final = (
    "equipment",
    "additive",
    "custody",
    "equipment_place",
    "equipment_state",
    "equipment_use",
    "run_mode",
    "run_part",
)
"""In the order in which they are made: what is pointed at comes first."""


def open_and(more: str) -> sa.TextClause:
    return sa.text(f"{STILL_OPEN} AND {more}")


def upgrade() -> None:
    op.create_table(
        "equipment",
        sa.Column("first_no", sa.Integer(), nullable=False),
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("id", KEY, nullable=False),
        sa.PrimaryKeyConstraint("site_id", "id", name="pk_equipment"),
    )

    op.create_table(
        "additive",
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("recorded_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("circuit_id", KEY, nullable=False),
        sa.Column("part_id", KEY, nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("dose", sa.String(), nullable=False),
        sa.Column("unit", sa.String(), nullable=False),
        sa.Column("blood", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(
            ["site_id", "circuit_id"],
            ["circuit.site_id", "circuit.id"],
            name="fk_additive_site_id_circuit_id",
        ),
        sa.PrimaryKeyConstraint("site_id", "recorded_no", name="pk_additive"),
    )
    op.create_index(
        "ix_additive_site_id_circuit_id", "additive", ["site_id", "circuit_id", "recorded_no"]
    )

    custody = op.create_table(
        "custody",
        sa.Column("circuit_id", KEY, nullable=False),
        sa.Column("kept_id", KEY, nullable=True),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("recorded_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("line", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("valid_from", MOMENT, nullable=False),
        sa.Column("valid_to", MOMENT, nullable=True),
        sa.Column("disputed", sa.Boolean(), nullable=False),
        sa.Column("superseded_no", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["site_id", "circuit_id"],
            ["circuit.site_id", "circuit.id"],
            name="fk_custody_site_id_circuit_id",
        ),
        sa.PrimaryKeyConstraint("site_id", "recorded_no", "line", name="pk_custody"),
    )
    op.create_index(
        "ix_custody_site_id_circuit_id", "custody", ["site_id", "circuit_id", "recorded_no", "line"]
    )
    op.create_index(
        "one_open_custody",
        "custody",
        ["site_id", "circuit_id"],
        unique=True,
        sqlite_where=OPEN,
        postgresql_where=OPEN,
    )
    never_changes("custody", custody.columns.keys(), but_once="superseded_no")

    equipment_place = op.create_table(
        "equipment_place",
        sa.Column("equipment_id", KEY, nullable=False),
        sa.Column("place_id", KEY, nullable=False),
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("recorded_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("line", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("valid_from", MOMENT, nullable=False),
        sa.Column("valid_to", MOMENT, nullable=True),
        sa.Column("disputed", sa.Boolean(), nullable=False),
        sa.Column("superseded_no", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["site_id", "equipment_id"],
            ["equipment.site_id", "equipment.id"],
            name="fk_equipment_place_site_id_equipment_id",
        ),
        sa.ForeignKeyConstraint(
            ["site_id", "place_id"],
            ["place.site_id", "place.id"],
            name="fk_equipment_place_site_id_place_id",
        ),
        sa.PrimaryKeyConstraint("site_id", "recorded_no", "line", name="pk_equipment_place"),
    )
    op.create_index(
        "ix_equipment_place_site_id_equipment_id",
        "equipment_place",
        ["site_id", "equipment_id", "recorded_no", "line"],
    )
    op.create_index(
        "ix_equipment_place_site_id_place_id", "equipment_place", ["site_id", "place_id"]
    )
    op.create_index(
        "one_open_place_of_equipment",
        "equipment_place",
        ["site_id", "equipment_id"],
        unique=True,
        sqlite_where=OPEN,
        postgresql_where=OPEN,
    )
    never_changes("equipment_place", equipment_place.columns.keys(), but_once="superseded_no")

    equipment_state = op.create_table(
        "equipment_state",
        sa.Column("equipment_id", KEY, nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("product_id", KEY, nullable=True),
        sa.Column("maker", sa.String(), nullable=False),
        sa.Column("model", sa.String(), nullable=False),
        sa.Column("serial", sa.String(), nullable=False),
        sa.Column("asset_number", sa.String(), nullable=False),
        sa.Column("software", sa.String(), nullable=False),
        sa.Column("made", sa.String(), nullable=False),
        sa.Column("owner", sa.String(), nullable=False),
        sa.Column("serviced_on", sa.Date(), nullable=True),
        sa.Column("disinfected_on", sa.Date(), nullable=True),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("recorded_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("line", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("valid_from", MOMENT, nullable=False),
        sa.Column("valid_to", MOMENT, nullable=True),
        sa.Column("disputed", sa.Boolean(), nullable=False),
        sa.Column("superseded_no", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["site_id", "equipment_id"],
            ["equipment.site_id", "equipment.id"],
            name="fk_equipment_state_site_id_equipment_id",
        ),
        sa.PrimaryKeyConstraint("site_id", "recorded_no", "line", name="pk_equipment_state"),
    )
    op.create_index(
        "ix_equipment_state_site_id_equipment_id",
        "equipment_state",
        ["site_id", "equipment_id", "recorded_no", "line"],
    )
    op.create_index(
        "one_open_asset_number",
        "equipment_state",
        ["site_id", "asset_number"],
        unique=True,
        sqlite_where=open_and("asset_number <> ''"),
        postgresql_where=open_and("asset_number <> ''"),
    )
    op.create_index(
        "one_open_state_of_equipment",
        "equipment_state",
        ["site_id", "equipment_id"],
        unique=True,
        sqlite_where=OPEN,
        postgresql_where=OPEN,
    )
    never_changes("equipment_state", equipment_state.columns.keys(), but_once="superseded_no")

    equipment_use = op.create_table(
        "equipment_use",
        sa.Column("use_id", KEY, nullable=False),
        sa.Column("equipment_id", KEY, nullable=True),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("product_id", KEY, nullable=True),
        sa.Column("serial", sa.String(), nullable=True),
        sa.Column("circuit_id", KEY, nullable=True),
        sa.Column("run_id", KEY, nullable=True),
        sa.Column("none_used", sa.Boolean(), nullable=False),
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("recorded_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("line", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("valid_from", MOMENT, nullable=False),
        sa.Column("valid_to", MOMENT, nullable=True),
        sa.Column("disputed", sa.Boolean(), nullable=False),
        sa.Column("superseded_no", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["site_id", "circuit_id"],
            ["circuit.site_id", "circuit.id"],
            name="fk_equipment_use_site_id_circuit_id",
        ),
        sa.ForeignKeyConstraint(
            ["site_id", "equipment_id"],
            ["equipment.site_id", "equipment.id"],
            name="fk_equipment_use_site_id_equipment_id",
        ),
        sa.ForeignKeyConstraint(
            ["site_id", "run_id"], ["run.site_id", "run.id"], name="fk_equipment_use_site_id_run_id"
        ),
        sa.PrimaryKeyConstraint("site_id", "recorded_no", "line", name="pk_equipment_use"),
    )
    op.create_index(
        "ix_equipment_use_site_id_circuit_id",
        "equipment_use",
        ["site_id", "circuit_id", "recorded_no", "line"],
    )
    op.create_index(
        "ix_equipment_use_site_id_equipment_id",
        "equipment_use",
        ["site_id", "equipment_id", "recorded_no", "line"],
    )
    op.create_index(
        "ix_equipment_use_site_id_run_id",
        "equipment_use",
        ["site_id", "run_id", "recorded_no", "line"],
    )
    op.create_index(
        "ix_equipment_use_site_id_kind_product_id",
        "equipment_use",
        ["site_id", "kind", "product_id"],
    )
    op.create_index("ix_equipment_use_site_id_serial", "equipment_use", ["site_id", "serial"])
    op.create_index(
        "ix_equipment_use_site_id_use_id",
        "equipment_use",
        ["site_id", "use_id", "recorded_no", "line"],
    )
    op.create_index(
        "one_open_equipment_use",
        "equipment_use",
        ["site_id", "use_id"],
        unique=True,
        sqlite_where=OPEN,
        postgresql_where=OPEN,
    )
    op.create_index(
        "one_open_use_of_equipment",
        "equipment_use",
        ["site_id", "equipment_id"],
        unique=True,
        sqlite_where=open_and("equipment_id IS NOT NULL"),
        postgresql_where=open_and("equipment_id IS NOT NULL"),
    )
    never_changes("equipment_use", equipment_use.columns.keys(), but_once="superseded_no")

    run_mode = op.create_table(
        "run_mode",
        sa.Column("run_id", KEY, nullable=False),
        sa.Column("mode", sa.String(), nullable=False),
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("recorded_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("line", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("valid_from", MOMENT, nullable=False),
        sa.Column("valid_to", MOMENT, nullable=True),
        sa.Column("disputed", sa.Boolean(), nullable=False),
        sa.Column("superseded_no", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["site_id", "run_id"], ["run.site_id", "run.id"], name="fk_run_mode_site_id_run_id"
        ),
        sa.PrimaryKeyConstraint("site_id", "recorded_no", "line", name="pk_run_mode"),
    )
    op.create_index(
        "ix_run_mode_site_id_run_id", "run_mode", ["site_id", "run_id", "recorded_no", "line"]
    )
    op.create_index(
        "one_open_mode_of_a_run",
        "run_mode",
        ["site_id", "run_id"],
        unique=True,
        sqlite_where=OPEN,
        postgresql_where=OPEN,
    )
    never_changes("run_mode", run_mode.columns.keys(), but_once="superseded_no")

    run_part = op.create_table(
        "run_part",
        sa.Column("run_id", KEY, nullable=False),
        sa.Column("part_id", KEY, nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("known", sa.String(), nullable=False),
        sa.Column("product_id", KEY, nullable=True),
        sa.Column("lot_id", KEY, nullable=True),
        sa.Column("serial", sa.String(), nullable=True),
        sa.Column("unit_id", KEY, nullable=True),
        sa.Column("expiry", sa.String(), nullable=True),
        sa.Column("body_site", sa.String(), nullable=False),
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("recorded_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("line", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("valid_from", MOMENT, nullable=False),
        sa.Column("valid_to", MOMENT, nullable=True),
        sa.Column("disputed", sa.Boolean(), nullable=False),
        sa.Column("superseded_no", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["site_id", "run_id"], ["run.site_id", "run.id"], name="fk_run_part_site_id_run_id"
        ),
        sa.PrimaryKeyConstraint("site_id", "recorded_no", "line", name="pk_run_part"),
    )
    op.create_index(
        "ix_run_part_disputed",
        "run_part",
        ["kind"],
        sqlite_where=sa.text("disputed"),
        postgresql_where=sa.text("disputed"),
    )
    op.create_index(
        "ix_run_part_gap",
        "run_part",
        ["kind", "product_id", "superseded_no", "run_id"],
        sqlite_where=sa.text("lot_id IS NULL"),
        postgresql_where=sa.text("lot_id IS NULL"),
    )
    op.create_index(
        "ix_run_part_lot",
        "run_part",
        ["lot_id", "run_id", "recorded_no", "superseded_no"],
        sqlite_where=sa.text("lot_id IS NOT NULL"),
        postgresql_where=sa.text("lot_id IS NOT NULL"),
    )
    op.create_index(
        "ix_run_part_site_id_part_id", "run_part", ["site_id", "part_id", "recorded_no", "line"]
    )
    op.create_index(
        "ix_run_part_site_id_run_id", "run_part", ["site_id", "run_id", "recorded_no", "line"]
    )
    op.create_index("ix_run_part_unit", "run_part", ["unit_id"])
    op.create_index(
        "one_open_run_part",
        "run_part",
        ["site_id", "part_id"],
        unique=True,
        sqlite_where=OPEN,
        postgresql_where=OPEN,
    )
    op.create_index(
        "one_open_run_part_of_a_unit",
        "run_part",
        ["site_id", "unit_id"],
        unique=True,
        sqlite_where=open_and("unit_id IS NOT NULL"),
        postgresql_where=open_and("unit_id IS NOT NULL"),
    )
    never_changes("run_part", run_part.columns.keys(), but_once="superseded_no")


def downgrade() -> None:
    connection = op.get_bind()
    held = [
        name
        for name in TABLES
        if connection.scalar(sa.select(sa.func.count()).select_from(sa.table(name)))
    ]
    if held:
        acts = connection.scalar(sa.text("SELECT count(*) FROM event"))
        raise LosesRecords(
            f"This store holds {acts} recorded acts, among them some that the version before "
            f"cannot show ({', '.join(held)}). Keep it as it is; start with a new one elsewhere."
        )
    for name in reversed(TABLES):
        op.drop_table(name)
