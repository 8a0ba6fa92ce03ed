"""A store's tables as the database itself describes them, and rows for whatever tables are there.

Nothing here knows the program's own tables, so it serves for a store of any step.
"""

import uuid
from datetime import UTC, date, datetime
from typing import Any, Final

import sqlalchemy as sa
from sqlalchemy import Connection, MetaData, Table

STEP_TABLE: Final = "alembic_version"

POSTGRESQL: Final = {
    "columns": """
        SELECT c.relname || '.' || a.attname,
               concat_ws(' ', format_type(a.atttypid, a.atttypmod), a.attnotnull, a.attidentity,
                         pg_get_expr(d.adbin, d.adrelid))
        FROM pg_attribute a
        JOIN pg_class c ON c.oid = a.attrelid AND c.relkind = 'r'
        LEFT JOIN pg_attrdef d ON d.adrelid = c.oid AND d.adnum = a.attnum
        WHERE c.relnamespace = 'public'::regnamespace AND a.attnum > 0 AND NOT a.attisdropped""",
    "constraints": """
        SELECT conrelid::regclass || ' ' || conname, pg_get_constraintdef(oid) FROM pg_constraint
        WHERE connamespace = 'public'::regnamespace AND contype <> 'n'""",
    "indexes": "SELECT indexname, indexdef FROM pg_indexes WHERE schemaname = 'public'",
    "triggers": """
        SELECT tgrelid::regclass || ' ' || tgname, pg_get_triggerdef(oid) FROM pg_trigger
        WHERE NOT tgisinternal""",
    "functions": """
        SELECT proname, pg_get_functiondef(oid) FROM pg_proc
        WHERE pronamespace = 'public'::regnamespace""",
}


def described(connection: Connection) -> dict[str, str]:
    """Return name and definition of all tables, indexes, constraints, triggers and functions."""
    if connection.dialect.name == "sqlite":
        query = "SELECT type || ' ' || name, sql FROM sqlite_master WHERE sql IS NOT NULL"
        found = {name: _in_any_order(sql) for name, sql in connection.exec_driver_sql(query)}
    else:
        found = {
            f"{kind} {name}": definition
            for kind, query in POSTGRESQL.items()
            for name, definition in connection.execute(sa.text(query)).all()
        }
    return {
        name: " ".join(definition.split())
        for name, definition in found.items()
        if STEP_TABLE not in name
    }


def _in_any_order(sql: str) -> str:
    """Return a statement with the parts of its outer brackets sorted.

    A column that a later step added stands after the constraints, and constraints stand as they
    came: neither makes another table. Other statements than CREATE TABLE stay as they are.
    """
    if not sql.startswith("CREATE TABLE"):
        return sql
    opening, closing = sql.index("("), sql.rindex(")")
    parts, depth = [""], 0
    for character in sql[opening + 1 : closing]:
        depth += (character == "(") - (character == ")")
        if character == "," and depth == 0:
            parts.append("")
        else:
            parts[-1] += character
    return f"{sql[:opening]} {sorted(part.strip() for part in parts)} {sql[closing + 1 :]}"


def counted(connection: Connection) -> dict[str, int]:
    """Return how many rows each table has."""
    return {
        table.name: connection.scalar(sa.select(sa.func.count()).select_from(table)) or 0
        for table in _tables(connection)
    }


def fill(connection: Connection, *, rows: int = 3) -> None:
    """Put rows into every table; what points at another row points at one that is there."""
    for table in _tables(connection):
        for row in range(1, rows + 1):
            connection.execute(table.insert().values(_row(table, row)))


def _tables(connection: Connection) -> list[Table]:
    """Return the tables, those that are pointed at before those that point."""
    found = MetaData()
    found.reflect(connection)
    return [table for table in found.sorted_tables if table.name != STEP_TABLE]


def _row(table: Table, row: int) -> dict[str, Any]:
    values = {}
    for column in table.columns:
        # Row n of each table points at row n of others, since equal columns hold equal values.
        target = next((key.column.name for key in column.foreign_keys), column.name)
        meaning = "id" if target.endswith("id") and target != "site_id" else target
        values[column.name] = _value(column.type, f"{meaning} {row}", row)
    values.update({name: None for name in ("superseded_no", "valid_to") if name in values})
    return values


def _value(of: sa.types.TypeEngine[Any], meaning: str, row: int) -> Any:
    key = uuid.uuid5(uuid.NAMESPACE_OID, meaning)
    fitting: dict[type[sa.types.TypeEngine[Any]], Any] = {
        sa.Boolean: False,
        sa.Integer: row,
        sa.DateTime: datetime(2031, 5, row, 12, tzinfo=UTC),
        sa.Date: date(2031, 5, row),
        sa.LargeBinary: key.bytes,
        sa.Uuid: key,
        sa.String: meaning,
    }
    return next(value for kind, value in fitting.items() if isinstance(of, kind))
