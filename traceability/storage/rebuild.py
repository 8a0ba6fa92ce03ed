"""Make every table anew from the ledger, and tell whether the tables were what it says.

All happens in one transaction on both databases: the projection's tables are dropped, created and
filled again; a difference, or a call that only checks, rolls all of it back.
"""

import hashlib
from dataclasses import dataclass
from typing import Final
from uuid import UUID

from sqlalchemy import Table, select
from sqlalchemy.orm import Session

from traceability.storage.base import Base
from traceability.storage.ledger import events_in_order, recorded
from traceability.storage.metadata import metadata
from traceability.storage.projections import project

NOT_PROJECTED: Final = frozenset(
    {
        "event",
        "ledger_head",
        "request",
        "kept_apart",
        "credential",
        "pin_failure",
        "sign_in",
        "enrol_code",
    }
)
"""The ledger itself, what is kept apart, requests as they were, and what only the moment needs."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rebuilt:
    """What a rebuild found."""

    events: int
    tables: int
    changed: tuple[str, ...]
    """Tables that were not what the ledger says; empty if all were."""


def projected_tables() -> list[Table]:
    """Return the tables that follow from the ledger, parents first."""
    return [table for table in metadata.sorted_tables if table.name not in NOT_PROJECTED]


def rebuild(session: Session, site_id: UUID) -> Rebuilt:
    """Drop, create and fill the projection's tables; the caller commits or rolls back."""
    tables = projected_tables()
    before = {table.name: table_digest(session, table) for table in tables}
    connection = session.connection()
    Base.metadata.drop_all(connection, tables=tables)
    Base.metadata.create_all(connection, tables=tables)
    session.expire_all()
    events = 0
    for stored in events_in_order(session, site_id):
        project(session, recorded(stored))
        session.flush()
        events += 1
        if events % 500 == 0:
            session.expunge_all()
    after = {table.name: table_digest(session, table) for table in tables}
    changed = tuple(sorted(name for name in before if before[name] != after[name]))
    return Rebuilt(events=events, tables=len(tables), changed=changed)


def table_digest(session: Session, table: Table) -> str:
    """Return SHA-256 over all rows in the order of their key: equal means equal to the letter."""
    digest = hashlib.sha256()
    rows = select(table).order_by(*table.primary_key.columns)
    for row in session.execute(rows, execution_options={"yield_per": 1000}):
        digest.update(repr(tuple(row)).encode())
    return digest.hexdigest()
