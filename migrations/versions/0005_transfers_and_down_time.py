"""Numbers on down-time sheets.

Why: a sheet or tag that was printed ahead keeps its circuit number, whoever primes meanwhile.
Back: only while no such sheet was printed; else a number on paper could be given out twice.
"""

from typing import Final

import sqlalchemy as sa
from alembic import op

from traceability.storage.append_only import never_changes
from traceability.storage.migrate import LosesRecords

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None

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


def downgrade() -> None:
    connection = op.get_bind()
    if connection.scalar(sa.text("SELECT count(*) FROM down_time_number")):
        acts = connection.scalar(sa.text("SELECT count(*) FROM event"))
        raise LosesRecords(
            f"This store holds {acts} recorded acts, numbers on down-time sheets among them; the "
            "version before would give them to other circuits. Keep the store as it is."
        )
    op.drop_table("down_time_number")
