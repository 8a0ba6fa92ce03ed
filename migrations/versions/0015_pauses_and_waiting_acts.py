"""Primes that are left and taken over, and acts of a device's queue that wait for a person.

Why: an unfinished prime is picked up by the next pair, and the hand-over is on record. What a
device kept for long, or with a clock that cannot be believed, is not done by itself and not lost:
it waits.
Back: only while none of it is recorded.

Safe while the version before still serves: it adds tables that it does not know.
"""

from typing import Any, Final

import sqlalchemy as sa
from alembic import op

from traceability.storage.append_only import never_changes
from traceability.storage.migrate import LosesRecords

revision = "0015"
down_revision = "0014"
branch_labels = None
depends_on = None

KEY: Final = sa.LargeBinary(16).with_variant(sa.Uuid(), "postgresql")
MOMENT: Final = sa.DateTime(timezone=True)
ORDER: Final = ("recorded_no", "line")
TABLES: Final = ("prime_pause", "prime_pair", "waiting_act")


def upgrade() -> None:
    _links("prime_pause", sa.Column("paused_by", KEY, nullable=True), needs_circuit=True)
    _one_open("one_open_pause", "prime_pause")
    _links(
        "prime_pair",
        sa.Column("primer_id", KEY, nullable=True),
        sa.Column("helper_id", KEY, nullable=True),
        sa.Column("handed_by", KEY, nullable=True),
        needs_circuit=True,
    )
    _one_open("one_open_pair", "prime_pair")
    _links(
        "waiting_act",
        sa.Column("device_id", KEY, nullable=False),
        sa.Column("person_id", KEY, nullable=True),
        sa.Column("what", sa.String(), nullable=False),
        sa.Column("why", sa.String(), nullable=False),
        sa.Column("said", sa.String(), nullable=False),
        sa.Column("kept_id", KEY, nullable=True),
        needs_circuit=False,
    )
    where = sa.text("superseded_no IS NULL")
    op.create_index(
        "open_waiting_acts",
        "waiting_act",
        ["site_id", *ORDER],
        sqlite_where=where,
        postgresql_where=where,
    )


def _links(name: str, *columns: sa.Column[Any], needs_circuit: bool) -> None:
    table = op.create_table(
        name,
        sa.Column("circuit_id", KEY, nullable=not needs_circuit),
        *columns,
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
            name=f"fk_{name}_site_id_circuit_id",
        ),
        sa.PrimaryKeyConstraint("site_id", "recorded_no", "line", name=f"pk_{name}"),
    )
    op.create_index(f"ix_{name}_site_id_circuit_id", name, ["site_id", "circuit_id", *ORDER])
    never_changes(name, table.columns.keys(), but_once="superseded_no")


def _one_open(index: str, table: str) -> None:
    where = sa.text("valid_to IS NULL AND superseded_no IS NULL AND NOT disputed")
    op.create_index(
        index,
        table,
        ["site_id", "circuit_id"],
        unique=True,
        sqlite_where=where,
        postgresql_where=where,
    )


def downgrade() -> None:
    connection = op.get_bind()
    tables = [sa.table(name) for name in TABLES]
    if any(connection.scalar(sa.select(sa.func.count()).select_from(t)) for t in tables):
        acts = connection.scalar(sa.text("SELECT count(*) FROM event"))
        raise LosesRecords(
            f"This store holds {acts} recorded acts with pauses or waiting acts among them, and "
            "without these tables they would be lost. Keep the store as it is."
        )
    for name in reversed(TABLES):
        op.drop_table(name)
