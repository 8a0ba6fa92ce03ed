"""Counters and lists that follow every part row, whichever act wrote it."""

from typing import Any
from uuid import UUID

from sqlalchemy import Connection, Table, event
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.orm import Mapper
from sqlalchemy.orm.attributes import get_history

from traceability.domain.parts import PartState
from traceability.domain.scopes import loose_key
from traceability.storage.base import Base
from traceability.storage.circuits import Part
from traceability.storage.part_counts import BLOCK, NO_PRODUCT
from traceability.storage.run_extras import RunPart

__all__ = ["counts_of"]

_COUNTS = ("parts", "with_lot", "with_serial")


def counts_of(row: Part | RunPart) -> tuple[int, int, int]:
    """Return what a row adds to the counters: parts, with a lot, with a serial."""
    if row.state == PartState.NOT_FITTED:
        return (0, 0, 0)
    return (1, int(row.lot_id is not None), int(row.serial is not None))


@event.listens_for(Part, "after_insert")
@event.listens_for(RunPart, "after_insert")
def _written(_: Mapper[Any], connection: Connection, row: Part | RunPart) -> None:
    _count(connection, row, row.recorded_no, 1)
    if row.unit_id is not None and row.product_id is not None and row.serial is not None:
        _see(connection, row.site_id, row.unit_id, row.product_id, row.serial)
    if row.superseded_no is not None:
        _count(connection, row, row.superseded_no, -1)


@event.listens_for(Part, "after_update")
@event.listens_for(RunPart, "after_update")
def _no_longer_believed(_: Mapper[Any], connection: Connection, row: Part | RunPart) -> None:
    if get_history(row, "superseded_no").added and row.superseded_no is not None:
        _count(connection, row, row.superseded_no, -1)


def _count(connection: Connection, row: Part | RunPart, number: int, sign: int) -> None:
    added = [sign * count for count in counts_of(row)]
    if not any(added):
        return
    table = Base.metadata.tables["part_count"]
    new = _insert(connection, table).values(
        site_id=row.site_id,
        kind=row.kind,
        product_id=row.product_id or NO_PRODUCT,
        block=number // BLOCK,
        **dict(zip(_COUNTS, added, strict=True)),
    )
    grown = {name: table.c[name] + new.excluded[name] for name in _COUNTS}
    connection.execute(new.on_conflict_do_update(index_elements=table.primary_key, set_=grown))


def _see(
    connection: Connection, site_id: UUID, unit_id: UUID, product_id: UUID, serial: str
) -> None:
    new = _insert(connection, Base.metadata.tables["unit_seen"]).values(
        site_id=site_id,
        unit_id=unit_id,
        product_id=product_id,
        serial=serial,
        loose_key=loose_key(serial),
    )
    connection.execute(new.on_conflict_do_nothing())


def _insert(connection: Connection, table: Table) -> sqlite.Insert | postgresql.Insert:
    """Return an insert that can meet a row that is there: both databases write it alike."""
    if connection.dialect.name == "sqlite":
        return sqlite.insert(table)
    return postgresql.insert(table)
