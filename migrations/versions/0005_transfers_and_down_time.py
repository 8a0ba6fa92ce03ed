"""Numbers on down-time sheets, lists of sending hospitals, and to whom circuits went.

Why: a sheet or tag that was printed ahead keeps its circuit number, whoever primes meanwhile; and
what another hospital stated of a circuit counts in every answer.
Back: only while none of it is recorded; else a number on paper could be given out twice, and a
stated lot would drop out of answers.
"""

from typing import Final

import sqlalchemy as sa
from alembic import op

from traceability.storage.append_only import never_changes
from traceability.storage.migrate import LosesRecords

revision = "0005"
down_revision = "0001"
branch_labels = None
depends_on = None

MOMENT: Final = sa.DateTime(timezone=True)
OPEN: Final = sa.text("valid_to IS NULL AND superseded_no IS NULL AND NOT disputed")
KEY: Final = sa.LargeBinary(16).with_variant(sa.Uuid(), "postgresql")


def upgrade() -> None:
    down_time_number = op.create_table(
        "down_time_number",
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("number", sa.String(), nullable=False),
        sa.Column("printed_no", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("site_id", "number", name="pk_down_time_number"),
    )
    never_changes("down_time_number", down_time_number.columns.keys())

    foreign_list = op.create_table(
        "foreign_list",
        sa.Column("circuit_id", KEY, nullable=False),
        sa.Column("complete", sa.Boolean(), nullable=False),
        sa.Column("kept_id", KEY, nullable=True),
        sa.Column("file_digest", sa.String(), nullable=False),
        *_link(),
        sa.ForeignKeyConstraint(
            ["site_id", "circuit_id"],
            ["circuit.site_id", "circuit.id"],
            name="fk_foreign_list_site_id_circuit_id",
        ),
        sa.PrimaryKeyConstraint("site_id", "recorded_no", "line", name="pk_foreign_list"),
    )
    op.create_index(
        "ix_foreign_list_site_id_circuit_id",
        "foreign_list",
        ["site_id", "circuit_id", "recorded_no", "line"],
    )
    op.create_index(
        "one_open_list",
        "foreign_list",
        ["site_id", "circuit_id"],
        unique=True,
        sqlite_where=OPEN,
        postgresql_where=OPEN,
    )
    never_changes("foreign_list", foreign_list.columns.keys(), but_once="superseded_no")

    handover = op.create_table(
        "handover",
        sa.Column("circuit_id", KEY, nullable=False),
        sa.Column("kept_id", KEY, nullable=True),
        sa.Column("file_digest", sa.String(), nullable=False),
        *_link(),
        sa.ForeignKeyConstraint(
            ["site_id", "circuit_id"],
            ["circuit.site_id", "circuit.id"],
            name="fk_handover_site_id_circuit_id",
        ),
        sa.PrimaryKeyConstraint("site_id", "recorded_no", "line", name="pk_handover"),
    )
    op.create_index(
        "ix_handover_site_id_circuit_id",
        "handover",
        ["site_id", "circuit_id", "recorded_no", "line"],
    )
    never_changes("handover", handover.columns.keys(), but_once="superseded_no")


def _link() -> list[sa.Column[object]]:
    return [
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("recorded_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("line", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("valid_from", MOMENT, nullable=False),
        sa.Column("valid_to", MOMENT, nullable=True),
        sa.Column("disputed", sa.Boolean(), nullable=False),
        sa.Column("superseded_no", sa.Integer(), nullable=True),
    ]


def downgrade() -> None:
    connection = op.get_bind()
    tables = ("handover", "foreign_list", "down_time_number")
    counts = [sa.text(f"SELECT count(*) FROM {table}") for table in tables]  # noqa: S608
    if any(connection.scalar(count) for count in counts):
        acts = connection.scalar(sa.text("SELECT count(*) FROM event"))
        raise LosesRecords(
            f"This store holds {acts} recorded acts, among them numbers on down-time sheets or "
            "what other hospitals stated; the version before knows neither. Keep the store as it "
            "is."
        )
    for table in tables:
        op.drop_table(table)
