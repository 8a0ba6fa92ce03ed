"""The procedure's own steps: lists, which one a prime goes by, and what was said of each step.

Why: what is done around the parts (checks, flush, fill, de-airing, ties, clamps) was kept on paper
beside the record, so nobody could ask later what had been done, by whom, and what was read.
Back: only while no list was set and nothing was said of a step.

Safe while the version before still serves: it adds tables, and changes no row.
"""

from typing import Final

import sqlalchemy as sa
from alembic import op

from traceability.storage.append_only import never_changes
from traceability.storage.migrate import LosesRecords

revision = "0014"
down_revision = "0013"
branch_labels = None
depends_on = None

KEY: Final = sa.LargeBinary(16).with_variant(sa.Uuid(), "postgresql")
MOMENT: Final = sa.DateTime(timezone=True)
OPEN: Final = sa.text("valid_to IS NULL AND superseded_no IS NULL AND NOT disputed")
TABLES: Final = ("step_said", "prime_steps", "step_list")


def upgrade() -> None:
    op.create_table(
        "step_list",
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("way", sa.String(), nullable=False),
        sa.Column("version", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("body", sa.String(), nullable=False),
        sa.Column("set_at", MOMENT, nullable=False),
        sa.Column("recorded_no", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("site_id", "way", "version", name="pk_step_list"),
    )
    op.create_table(
        "prime_steps",
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("circuit_id", KEY, nullable=False),
        sa.Column("way", sa.String(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("recorded_no", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["site_id", "circuit_id"],
            ["circuit.site_id", "circuit.id"],
            name="fk_prime_steps_site_id_circuit_id",
        ),
        sa.PrimaryKeyConstraint("site_id", "circuit_id", name="pk_prime_steps"),
    )
    step_said = op.create_table(
        "step_said",
        sa.Column("circuit_id", KEY, nullable=False),
        sa.Column("step", sa.String(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("begun_at", MOMENT, nullable=True),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("readings", sa.String(), nullable=False),
        sa.Column("by_id", KEY, nullable=True),
        sa.Column("other_id", KEY, nullable=True),
        sa.Column("late", sa.Boolean(), nullable=False),
        sa.Column("said_no", sa.Integer(), nullable=False),
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
            name="fk_step_said_site_id_circuit_id",
        ),
        sa.PrimaryKeyConstraint("site_id", "recorded_no", "line", name="pk_step_said"),
    )
    op.create_index(
        "ix_step_said_site_id_circuit_id",
        "step_said",
        ["site_id", "circuit_id", "recorded_no", "line"],
    )
    op.create_index(
        "one_open_step",
        "step_said",
        ["site_id", "circuit_id", "step"],
        unique=True,
        sqlite_where=OPEN,
        postgresql_where=OPEN,
    )
    never_changes("step_said", step_said.columns.keys(), but_once="superseded_no")


def downgrade() -> None:
    connection = op.get_bind()
    rows = sum(
        connection.scalar(sa.text(f"SELECT count(*) FROM {name}")) or 0  # noqa: S608 - names of ours
        for name in TABLES
    )
    if rows:
        raise LosesRecords(
            f"This store holds {rows} recorded acts about steps of the procedure. Without this "
            "step they would be lost. Keep it as it is."
        )
    for name in TABLES:
        op.drop_table(name)
