"""Triggers that keep a table append-only, also against a hand at the database's own prompt.

They catch mistakes. The owner of a database can drop them: against that stand the hash chain and
its heads kept elsewhere. A migration must never rebuild such a table in batch mode, for that
loses its triggers without a word.
"""

from collections.abc import Iterator
from typing import Final

from sqlalchemy import DDL, Table, event

REFUSE_ON_POSTGRESQL: Final = """
CREATE OR REPLACE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS
$$ BEGIN RAISE EXCEPTION '% is append-only', TG_TABLE_NAME; END $$
"""


def never_changes(table: Table, *, but_once: str = "") -> None:
    """Make `table` refuse UPDATE, DELETE and TRUNCATE from the moment it is created.

    `but_once` names one column that may go from NULL to a value, and then no further.
    """
    table.info["append_only"] = but_once
    for dialect in ("sqlite", "postgresql"):
        for statement in trigger_statements(table, dialect):
            # DDL formats with "%": a literal one in the function's text is doubled.
            ddl = DDL(statement.replace("%", "%%"))  # type: ignore[no-untyped-call]
            event.listen(table, "after_create", ddl.execute_if(dialect=dialect))


def trigger_statements(table: Table, dialect: str) -> Iterator[str]:
    """Yield the statements that make the table append-only; migrations run the very same ones."""
    but_once = table.info["append_only"]
    fixed = ", ".join(column.name for column in table.columns if column.name != but_once)
    acts = {"delete": ("DELETE", ""), "update": (f"UPDATE OF {fixed}", "")}
    if but_once:
        acts["second"] = (f"UPDATE OF {but_once}", f"WHEN (OLD.{but_once} IS NOT NULL)")
    if dialect == "postgresql":
        yield REFUSE_ON_POSTGRESQL
    for name, (act, when) in acts.items():
        trigger = f"CREATE TRIGGER {table.name}_no_{name} BEFORE {act} ON {table.name}"
        each_row = f"{trigger} FOR EACH ROW {when}"
        if dialect == "sqlite":
            yield f"{each_row} BEGIN SELECT RAISE(ABORT, '{table.name} is append-only'); END"
        else:
            yield f"{each_row} EXECUTE FUNCTION refuse_change()"
    if dialect == "postgresql":
        yield (
            f"CREATE TRIGGER {table.name}_no_truncate BEFORE TRUNCATE ON {table.name} "
            "EXECUTE FUNCTION refuse_change()"
        )
