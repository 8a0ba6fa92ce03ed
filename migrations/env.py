"""Runs the steps in `versions/` on one connection: each up as one transaction, all down as one.

Called by `traceability.storage.migrate` with a connection, or by the `alembic` command (to write
a new step) with the store that the settings name.
"""

from collections.abc import Collection, Mapping
from typing import Any

from alembic import context
from alembic.runtime.migration import MigrationContext, MigrationInfo
from sqlalchemy import Connection

from traceability.settings import read_settings
from traceability.storage.metadata import metadata
from traceability.storage.migrate import migration_engine


def _check_step(
    ctx: MigrationContext,
    step: MigrationInfo,
    heads: Collection[Any],
    run_args: Mapping[str, Any],
) -> None:
    """Refuse a step that leaves a row pointing at nothing; its transaction is rolled back."""
    connection = ctx.connection
    if connection is not None and connection.dialect.name == "sqlite":
        broken = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
        if broken:
            raise RuntimeError(
                f"{step} leaves rows that point at nothing (table, row, parent): {broken[:5]}"
            )


def _run(connection: Connection) -> None:
    context.configure(
        connection=connection,
        target_metadata=metadata,
        compare_type=True,
        compare_server_default=True,
        # Tables that only grow must never be rebuilt: it drops their triggers without a word.
        render_as_batch=False,
        transactional_ddl=True,
        # The way back is taken whole or not at all: a step on it may refuse.
        transaction_per_migration=not context.config.attributes.get("as_one"),
        on_version_apply=_check_step,
    )
    with context.begin_transaction():
        context.run_migrations()


given = context.config.attributes.get("connection")
if given is not None:
    _run(given)
else:
    engine = migration_engine(read_settings().store_url)
    with engine.connect() as own:
        _run(own)
    engine.dispose()
