"""Public keys of other sites.

Why: what a circuit's tag says in its second symbol is signed; with the key of the site that made
it, anybody can see that nothing was changed and who says so.
Back: only while no key is recorded; the acts that recorded one would have no rows any more.

Number 0008, after 0001; written 2026-11-28.
"""

from typing import Final

import sqlalchemy as sa
from alembic import op

from traceability.storage.migrate import LosesRecords

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None

KEY: Final = sa.LargeBinary(16).with_variant(sa.Uuid(), "postgresql")


def upgrade() -> None:
    op.create_table(
        "tag_key",
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("public_key", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("unit", sa.String(), nullable=False),
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.Column("recorded_no", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("site_id", "public_key", name="pk_tag_key"),
    )


def downgrade() -> None:
    kept = op.get_bind().scalar(sa.text("SELECT count(*) FROM tag_key"))
    if kept:
        raise LosesRecords(
            f"This store holds {kept} recorded acts about keys of other sites, and without their "
            "table they would be lost. Keep it as it is."
        )
    op.drop_table("tag_key")
