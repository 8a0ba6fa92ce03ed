"""What kind each product was said to be, entry by entry.

Why: the kind of a product can be mended. A part that nobody could read went in under the kind of
its day, and was left out of answers about the product once its kind had changed.
Back: any time; it follows from the ledger.

Number 0017; written 2026-11-28.
"""

import json
from typing import Any, Final
from uuid import UUID

import sqlalchemy as sa
from alembic import op

revision = "0017"
down_revision = "0015"
branch_labels = None
depends_on = None

KEY: Final = sa.LargeBinary(16).with_variant(sa.Uuid(), "postgresql")


def upgrade() -> None:
    kinds = op.create_table(
        "product_kind",
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("product_id", KEY, nullable=False),
        sa.Column("recorded_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(
            ["site_id", "product_id"],
            ["product.site_id", "product.id"],
            name="fk_product_kind_site_id_product_id",
        ),
        sa.PrimaryKeyConstraint("site_id", "product_id", "recorded_no", name="pk_product_kind"),
    )
    connection = op.get_bind()
    said = sa.text(
        "SELECT site_id, number, body FROM event WHERE kind = 'product-set' ORDER BY number"
    )
    rows: list[dict[str, Any]] = []
    last: dict[tuple[Any, str], str] = {}
    for event in connection.execute(said):
        body = json.loads(event.body)
        product, kind = str(body["product"]), str(body["kind"])
        if last.get((event.site_id, product)) != kind:
            last[event.site_id, product] = kind
            rows.append(
                {
                    "site_id": event.site_id,
                    "product_id": _key(product, connection),
                    "recorded_no": event.number,
                    "kind": kind,
                }
            )
    if rows:
        connection.execute(sa.insert(kinds), rows)


def downgrade() -> None:
    op.drop_table("product_kind")


def _key(text: str, connection: sa.Connection) -> object:
    return UUID(text) if connection.dialect.name == "postgresql" else UUID(text).bytes
