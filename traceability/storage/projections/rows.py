"""How links are opened, ended and replaced; the only place that sets `superseded_no`."""

import json
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import TypeVar
from uuid import UUID

from sqlalchemy import insert, inspect, select
from sqlalchemy.orm import Session

from traceability.domain.events import Plain, Recorded
from traceability.storage.base import Link
from traceability.storage.corrections import RunEnd
from traceability.storage.runs import Run

L = TypeVar("L", bound=Link)


def stored(value: Plain) -> str:
    """Return a value of a body as the text that a column keeps: the same for the same facts."""
    return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=True, default=list)


def open_links(session: Session, link: type[L], event: Recorded, **where: object) -> list[L]:
    """Return the believed rows without an end, oldest first; disputed ones too."""
    rows = (
        select(link)
        .filter_by(site_id=event.site_id, superseded_no=None, valid_to=None, **where)
        .order_by(link.recorded_no, link.line)
    )
    return list(session.scalars(rows))


def supersede(session: Session, row: Link, event: Recorded) -> None:
    """Stop believing the row from this event on.

    Flushed at once: the unique indexes would else see the old row beside the new one.
    """
    row.superseded_no = event.number
    session.flush()


def replace(session: Session, row: L, event: Recorded, line: int, **changes: object) -> L:
    """Supersede the row and add one with the changes in its place."""
    supersede(session, row, event)
    return again(session, row, event, line, **changes)


def again(session: Session, row: L, event: Recorded, line: int, **changes: object) -> L:
    """Add a row like one that was superseded, with the changes, believed from this event on."""
    names = [each.key for each in inspect(type(row)).column_attrs]
    values: dict[str, object] = {name: getattr(row, name) for name in names}
    values |= {"recorded_no": event.number, "line": line, "superseded_no": None} | changes
    added = type(row)(**values)
    session.add(added)
    return added


def end_all(session: Session, link: type[L], event: Recorded, at: datetime, **where: object) -> int:
    """End every open row at `at`, never before its own beginning; return how many there were."""
    rows = open_links(session, link, event, **where)
    for line, row in enumerate(rows):
        replace(session, row, event, line, valid_to=max(at, row.valid_from))
    return len(rows)


def add_link(
    session: Session, link: type[L], event: Recorded, line: int, at: datetime, **values: object
) -> L:
    """Add a row that begins at `at` and is open, unless `values` say when it ends."""
    filled: dict[str, object] = {
        "site_id": event.site_id,
        "recorded_no": event.number,
        "line": line,
        "valid_from": at,
        "disputed": False,
        **values,
    }
    row = link(**filled)
    session.add(row)
    return row


def add_links(
    session: Session,
    link: type[Link],
    event: Recorded,
    rows: Sequence[Mapping[str, object]],
    first_line: int = 0,
) -> None:
    """Add rows that begin with the event and are open, thousands in one statement."""
    if rows:
        shared: dict[str, object] = {
            "site_id": event.site_id,
            "recorded_no": event.number,
            "valid_from": event.happened_at,
            "valid_to": None,
            "disputed": False,
            "superseded_no": None,
        }
        session.execute(
            insert(link),
            [{**shared, "line": first_line + line, **row} for line, row in enumerate(rows)],
        )


def move_on(
    session: Session,
    link: type[L],
    event: Recorded,
    at: datetime,
    circuit_id: UUID,
    **values: object,
) -> None:
    """End the circuit's open row of this kind and open the next one at the same moment.

    Never before the open row began, whatever a device's clock said: nothing is in two places.
    """
    follow_on(session, link, event, at, {"circuit_id": circuit_id}, **values)


def follow_on(
    session: Session,
    link: type[L],
    event: Recorded,
    at: datetime,
    of: Mapping[str, UUID],
    **values: object,
) -> None:
    """End the open row of whatever `of` names and open the next one at the same moment."""
    began = [row.valid_from for row in open_links(session, link, event, **of)]
    begins = max([at, *began])
    ended = end_all(session, link, event, begins, **of)
    add_link(session, link, event, ended, begins, **of, **values)


def end_the_run(
    session: Session, event: Recorded, run_id: UUID, at: datetime | None, line: int = 0
) -> None:
    """Say when the run ended, never before it began; None: it goes on."""
    run = session.get_one(Run, (event.site_id, run_id))
    for row in open_links(session, RunEnd, event, run_id=run_id):
        supersede(session, row, event)
    run.ended_at = None if at is None else max(at, run.begun_at)
    if run.ended_at is not None:
        add_link(session, RunEnd, event, line, run.ended_at, run_id=run_id)
    session.flush()
