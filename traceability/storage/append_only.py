"""Triggers that keep a table append-only, as the steps in `migrations/` write them.

Never edited, since a step must do in ten years what it did on its first day: another kind of
trigger is another function. `tests/storage/test_migrations.py` proves that stores made by steps
have the triggers of `triggers.py`.
"""

from collections.abc import Iterable, Iterator
from typing import Final

from alembic import op

REFUSE: Final = """
CREATE OR REPLACE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS
$$ BEGIN RAISE EXCEPTION '% is append-only', TG_TABLE_NAME; END $$
"""


def never_changes(table: str, columns: Iterable[str], *, but_once: str = "") -> None:
    """Make `table` refuse UPDATE, DELETE and TRUNCATE.

    `columns` are all of the table's; `but_once` names the one that may go from NULL to a value.
    """
    connection = op.get_bind()
    for statement in _statements(table, columns, but_once, connection.dialect.name):
        connection.exec_driver_sql(statement.replace("%", "%%"))


def _statements(table: str, columns: Iterable[str], but_once: str, dialect: str) -> Iterator[str]:
    fixed = ", ".join(column for column in columns if column != but_once)
    acts = {"delete": ("DELETE", ""), "update": (f"UPDATE OF {fixed}", "")}
    if but_once:
        acts["second"] = (f"UPDATE OF {but_once}", f"WHEN (OLD.{but_once} IS NOT NULL)")
    if dialect == "postgresql":
        yield REFUSE
    for name, (act, when) in acts.items():
        each_row = f"CREATE TRIGGER {table}_no_{name} BEFORE {act} ON {table} FOR EACH ROW {when}"
        if dialect == "sqlite":
            yield f"{each_row} BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END"
        else:
            yield f"{each_row} EXECUTE FUNCTION refuse_change()"
    if dialect == "postgresql":
        yield (
            f"CREATE TRIGGER {table}_no_truncate BEFORE TRUNCATE ON {table} "
            "EXECUTE FUNCTION refuse_change()"
        )
