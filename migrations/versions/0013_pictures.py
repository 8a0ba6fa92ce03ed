"""Photos of a laid-out trolley that a unit's policy lets it keep as evidence.

Why: who asks years later how a lot came onto the record may look at what it was read from. The
picture lies beside the store and can be erased; the row says that there was one, and its SHA-256.
Back: only while no picture was kept.

Safe while the version before still serves: it adds a table and touches none.

Number 0013; written 2026-11-28.
"""

from typing import Final

import sqlalchemy as sa
from alembic import op

from traceability.storage.append_only import never_changes
from traceability.storage.migrate import LosesRecords

revision = "0013"
down_revision = "0012"
branch_labels = None
depends_on = None

KEY: Final = sa.LargeBinary(16).with_variant(sa.Uuid(), "postgresql")
TABLE: Final = "prime_picture"


def upgrade() -> None:
    made = op.create_table(
        TABLE,
        sa.Column("circuit_id", KEY, nullable=False),
        sa.Column("recorded_no", sa.Integer(), nullable=False),
        sa.Column("sent_sha256", sa.String(), nullable=False),
        sa.Column("sha256", sa.String(), nullable=False),
        sa.Column("size_bytes", sa.Integer(), nullable=False),
        sa.Column("superseded_no", sa.Integer(), nullable=True),
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("id", KEY, nullable=False),
        sa.ForeignKeyConstraint(
            ["site_id", "circuit_id"],
            ["circuit.site_id", "circuit.id"],
            name="fk_prime_picture_site_id_circuit_id",
        ),
        sa.PrimaryKeyConstraint("site_id", "id", name="pk_prime_picture"),
    )
    op.create_index(
        "ix_prime_picture_site_id_circuit_id", TABLE, ["site_id", "circuit_id", "recorded_no"]
    )
    never_changes(TABLE, made.columns.keys(), but_once="superseded_no")


def downgrade() -> None:
    connection = op.get_bind()
    if connection.scalar(sa.select(sa.func.count()).select_from(sa.table(TABLE))):
        acts = connection.scalar(sa.text("SELECT count(*) FROM event"))
        raise LosesRecords(
            f"This store holds {acts} recorded acts and says which pictures were kept with them; "
            "without this table that would be lost. Keep the store as it is."
        )
    op.drop_table(TABLE)
