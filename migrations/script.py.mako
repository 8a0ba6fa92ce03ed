"""${message}

Why: say what it is for, in a sentence a person on call understands.
Back: say whether it can be taken back, and if not, what would be lost.

Before this is committed:
- One change, read by hand: what autogenerate wrote is a draft.
- The types and statements stand here in full: it must do in ten years what it does today. From
  `traceability` it imports nothing but `storage.append_only` and `storage.migrate.LosesRecords`.
- Tables that only grow (event, every link table) are never altered in batch mode: the rebuilt
  table has lost its triggers. Add a nullable column, or a new table.
- A new append-only table gets its triggers by `storage.append_only.never_changes`.
- A new column is nullable, or has a server default that is true for all rows that are there.
- Partial unique indexes are written with both `sqlite_where` and `postgresql_where`.
- Nothing that was recorded is lost on the way up. `downgrade` works where the same holds for the
  way down; else it raises `LosesRecords` and says what to do instead.
- It must be safe to run while the version before it still serves, or its docstring says it is not.

Number ${up_revision}, after ${down_revision | comma,n}; written ${create_date}.
"""

import sqlalchemy as sa
from alembic import op
${imports if imports else ""}
revision = ${repr(up_revision)}
down_revision = ${repr(down_revision)}
branch_labels = None
depends_on = None


def upgrade() -> None:
    ${upgrades if upgrades else "pass"}


def downgrade() -> None:
    ${downgrades if downgrades else "pass"}
