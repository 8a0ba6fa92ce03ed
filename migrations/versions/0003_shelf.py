"""The shelf: what a place wants, looks at circuits, who was told by hand, how a circuit stands.

Why: a place can want several circuits, of certain types, with time left; looks and words told by
hand are kept beside the circuits; a circuit that was opened has a use-by of its own.
Back: while none of it is recorded; a store that holds looks, words or ways is kept as it is.

It is safe while the version before still serves: the new columns of a place have defaults that
are true for it, and the new tables are not known to it.
"""

from typing import Final

import sqlalchemy as sa
from alembic import op

from traceability.storage.append_only import never_changes
from traceability.storage.migrate import LosesRecords

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

KEY: Final = sa.LargeBinary(16).with_variant(sa.Uuid(), "postgresql")
MOMENT: Final = sa.DateTime(timezone=True)
OPEN: Final = sa.text("valid_to IS NULL AND superseded_no IS NULL AND NOT disputed")
TABLES: Final = ("shelf_check", "told_by_hand", "circuit_way")
COLUMNS: Final = ("wanted", "accepts", "least_left_minutes")


def upgrade() -> None:
    op.add_column("place", sa.Column("wanted", sa.Integer(), server_default="1", nullable=False))
    op.add_column("place", sa.Column("accepts", sa.String(), server_default="[]", nullable=False))
    op.add_column(
        "place", sa.Column("least_left_minutes", sa.Integer(), server_default="0", nullable=False)
    )

    shelf_check = op.create_table(
        "shelf_check",
        sa.Column("circuit_id", KEY, nullable=False),
        sa.Column("good", sa.Boolean(), nullable=False),
        sa.Column("findings", sa.String(), nullable=False),
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
            name="fk_shelf_check_site_id_circuit_id",
        ),
        sa.PrimaryKeyConstraint("site_id", "recorded_no", "line", name="pk_shelf_check"),
    )
    op.create_index(
        "ix_shelf_check_site_id_circuit_id",
        "shelf_check",
        ["site_id", "circuit_id", "recorded_no", "line"],
    )
    never_changes("shelf_check", shelf_check.columns.keys(), but_once="superseded_no")

    told_by_hand = op.create_table(
        "told_by_hand",
        sa.Column("place_id", KEY, nullable=True),
        sa.Column("circuit_id", KEY, nullable=True),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("kept_id", KEY, nullable=False),
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
            name="fk_told_by_hand_site_id_circuit_id",
        ),
        sa.ForeignKeyConstraint(
            ["site_id", "place_id"],
            ["place.site_id", "place.id"],
            name="fk_told_by_hand_site_id_place_id",
        ),
        sa.PrimaryKeyConstraint("site_id", "recorded_no", "line", name="pk_told_by_hand"),
    )
    for subject in ("place_id", "circuit_id"):
        op.create_index(
            f"ix_told_by_hand_site_id_{subject}",
            "told_by_hand",
            ["site_id", subject, "recorded_no", "line"],
        )
    never_changes("told_by_hand", told_by_hand.columns.keys(), but_once="superseded_no")

    circuit_way = op.create_table(
        "circuit_way",
        sa.Column("circuit_id", KEY, nullable=False),
        sa.Column("way", sa.String(), nullable=False),
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
            name="fk_circuit_way_site_id_circuit_id",
        ),
        sa.PrimaryKeyConstraint("site_id", "recorded_no", "line", name="pk_circuit_way"),
    )
    op.create_index(
        "ix_circuit_way_site_id_circuit_id",
        "circuit_way",
        ["site_id", "circuit_id", "recorded_no", "line"],
    )
    op.create_index(
        "one_open_way",
        "circuit_way",
        ["site_id", "circuit_id"],
        unique=True,
        sqlite_where=OPEN,
        postgresql_where=OPEN,
    )
    never_changes("circuit_way", circuit_way.columns.keys(), but_once="superseded_no")


def downgrade() -> None:
    connection = op.get_bind()
    rows = sum(
        connection.scalar(sa.text(f"SELECT count(*) FROM {name}")) or 0  # noqa: S608 - names of ours
        for name in TABLES
    )
    set_by_hand = connection.scalar(
        sa.text(
            "SELECT count(*) FROM place WHERE wanted <> 1 OR accepts <> '[]' "
            "OR least_left_minutes <> 0"
        )
    )
    if rows or set_by_hand:
        raise LosesRecords(
            f"This store holds {rows} recorded acts of the shelf, and {set_by_hand} places that "
            "say what they want. Without this step they would be lost. Keep it as it is."
        )
    for name in TABLES:
        op.drop_table(name)
    for name in COLUMNS:
        op.drop_column("place", name)
