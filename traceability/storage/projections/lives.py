"""A circuit's rows as its entries make them once corrections are applied.

All entries about one circuit are projected again, as corrected, by the very functions that wrote
its rows the first time, into an empty store in memory. What stands there at the end is what is
believed from the correction on. One circuit has some tens of entries, so this stays small.
"""

import json
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import cache
from typing import Any, Final
from uuid import UUID

from sqlalchemy import create_engine, inspect, select
from sqlalchemy.orm import Session
from sqlalchemy.pool import StaticPool

from traceability.domain.circuits import Phase
from traceability.domain.corrections import WORDS, Word, as_corrected, in_force, spoken, words_of
from traceability.domain.events import Kind, Recorded
from traceability.storage.base import Base, Link
from traceability.storage.circuits import (
    NEVER_WAS,
    Circuit,
    CircuitPhase,
    CircuitPlace,
    Part,
    Prime,
    Signature,
)
from traceability.storage.corrections import Correction
from traceability.storage.items import Lot
from traceability.storage.moves import ForeignList, Handover
from traceability.storage.projections.registry import BY_KIND
from traceability.storage.projections.rows import end_all, move_on
from traceability.storage.run_extras import Custody
from traceability.storage.runs import CircuitOnRun, Run
from traceability.storage.shelf import CircuitWay

LINKS: Final[tuple[type[Link], ...]] = (
    CircuitPhase,
    CircuitPlace,
    CircuitOnRun,
    Prime,
    Part,
    CircuitWay,
    ForeignList,
    Handover,
    Custody,
)
"""What is written again: every link of a circuit that follows from entries about it alone.

Signatures stay on what they signed and have a rule of their own; so have machines.
"""

BEGINS: Final = frozenset({Kind.PRIME_BEGUN, Kind.FOREIGN_ARRIVED, Kind.CIRCUIT_WITHOUT_RECORD})


@dataclass(frozen=True, slots=True, kw_only=True)
class Life:
    """One circuit as its entries say, corrected."""

    events: tuple[Recorded, ...]
    """What happened, in order of entry; what never happened is left out."""
    rows: dict[type[Link], list[dict[str, Any]]]
    """Columns of what is believed, in the order written; `recorded_no` names the entry."""
    lots: dict[UUID, dict[str, Any]]
    """Columns of the lots named, by id."""


def entries(session: Session, site_id: UUID, circuit_id: UUID) -> list[Recorded]:
    """Return all entries about a circuit in order; they are found through the rows they left."""
    numbers: set[int] = set()
    of_circuit: tuple[type[Link], ...] = (*LINKS, Signature)
    for link in of_circuit:
        left = select(link.recorded_no, link.superseded_no).where(
            link.site_id == site_id,
            link.circuit_id == circuit_id,  # type: ignore[attr-defined]
        )
        numbers |= {number for row in session.execute(left) for number in row if number}
    begun = session.get(Circuit, (site_id, circuit_id))
    numbers |= {begun.begun_no} if begun else set()
    return events_of(session, site_id, numbers)


def events_of(session: Session, site_id: UUID, numbers: set[int]) -> list[Recorded]:
    """Return these entries, in order."""
    table = Base.metadata.tables["event"]  # the ledger itself imports the projections
    rows = (
        select(table)
        .where(table.c.site_id == site_id, table.c.number.in_(sorted(numbers)))
        .order_by(table.c.number)
    )
    return [
        Recorded(
            site_id=row.site_id,
            number=row.number,
            device_id=row.device_id,
            actor_id=row.actor_id,
            request_id=row.request_id,
            happened_at=row.happened_at,
            recorded_at=row.recorded_at,
            kind=Kind(row.kind),
            body=json.loads(row.body),
        )
        for row in session.execute(rows)
    ]


def words_on(
    session: Session, site_id: UUID, subject_id: UUID, more: Sequence[Recorded] = ()
) -> list[Word]:
    """Return the words in force about a circuit, a run or a patient, with some not yet entered."""
    said = sayings(session, site_id, subject_id, more)
    return in_force(word for event in said for word in words_of(event))


def sayings(
    session: Session, site_id: UUID, subject_id: UUID, more: Sequence[Recorded] = ()
) -> list[Recorded]:
    """Return the corrections and rulings about a subject, whether they still count or not."""
    rows = select(Correction.recorded_no).filter_by(site_id=site_id, subject_id=subject_id)
    found = events_of(session, site_id, set(session.scalars(rows)))
    known = {event.number for event in found}
    return [*found, *(event for event in more if event.number not in known)]


def life(session: Session, site_id: UUID, circuit_id: UUID, more: Sequence[Recorded] = ()) -> Life:
    """Return the circuit as all entries leave it, with corrections that are not yet entered.

    Raises:
        IntegrityError: the entries contradict each other, so that it would be in two places.
    """
    said = sayings(session, site_id, circuit_id, more)
    words = in_force(word for event in said for word in words_of(event))
    told = [each for each in entries(session, site_id, circuit_id) if each.kind not in WORDS]
    happened: list[Recorded] = []
    with _empty_store() as scratch:
        _bring_runs(session, scratch, site_id, [*told, *said])
        for event in told:
            now = as_corrected(event, words)
            is_paper = event.kind is Kind.PRIME_ENTERED_LATE and event is told[0]
            if now is None and event.kind not in BEGINS and not is_paper:
                continue
            # A circuit whose paper was another one's is here all the same: only its prime is not.
            _project(scratch, now or (_without_prime(event) if is_paper else event), said)
            if now is None:
                by = max(
                    word.number for word in words if word.void and event.number in spoken(word)
                )
                _never_was(scratch, replace(event, number=by), circuit_id)
            else:
                happened.append(now)
        rows = {
            link: [
                columns(row)
                for row in scratch.scalars(
                    select(link)
                    .filter_by(circuit_id=circuit_id, superseded_no=None)
                    .order_by(link.recorded_no, link.line)
                )
            ]
            for link in LINKS
        }
        lots = {lot.id: columns(lot) for lot in scratch.scalars(select(Lot))}
    return Life(events=tuple(happened), rows=rows, lots=lots)


def columns(row: Base | Link) -> dict[str, Any]:
    """Return the values of a stored row by name."""
    return {each.key: getattr(row, each.key) for each in inspect(type(row)).column_attrs}


def _project(scratch: Session, event: Recorded, said: Sequence[Recorded]) -> None:
    if event.kind is Kind.PRIME_SIGNED:
        return
    body = dict(event.body)
    if event.kind is Kind.CIRCUIT_TAKEN:
        body["number"] = None  # the run is there already
    if "use_by" in body:
        for each in said:  # decided anew by each correction that touched it; the newest counts
            for row in each.rows("primes") if each.number > event.number else ():
                if row.get("circuit") == body["circuit"]:
                    body |= {name: row[name] for name in ("use_by", "decides", "comes_next")}
    inner = event.inner(body)
    BY_KIND[event.kind](scratch, inner)
    scratch.flush()


def _without_prime(paper: Recorded) -> Recorded:
    """Return the entry that a paper is worth of which nothing was so but a circuit."""
    body = {"circuit": paper.body["circuit"], "number": paper.body["number"], "tag": []}
    return replace(paper.inner(body), kind=Kind.CIRCUIT_WITHOUT_RECORD)


def _never_was(scratch: Session, event: Recorded, circuit_id: UUID) -> None:
    at = event.happened_at
    move_on(scratch, CircuitPhase, event, at, circuit_id, phase=Phase.DISCARDED, reason=NEVER_WAS)
    end_all(scratch, CircuitPlace, event, at, circuit_id=circuit_id)
    scratch.flush()


def _bring_runs(
    session: Session, scratch: Session, site_id: UUID, told: Sequence[Recorded]
) -> None:
    """Put the runs that are named into the empty store: their rows are not this circuit's."""
    named: set[UUID] = set()
    for event in told:
        changes = event.body.get("changes")
        bodies = [event, *(event.inner(row) for row in event.rows("runs"))]
        if isinstance(changes, dict):
            bodies.append(event.inner(changes))
        named |= {run for body in bodies if (run := body.key_or_none("run"))}
    for run_id in sorted(named):
        stored = session.get(Run, (site_id, run_id))
        if stored is not None:
            scratch.add(Run(**columns(stored)))
    scratch.flush()


@contextmanager
def _empty_store() -> Iterator[Session]:
    engine = create_engine("sqlite://", poolclass=StaticPool)
    try:
        with engine.connect() as connection:
            driver = connection.connection.driver_connection
            if isinstance(driver, sqlite3.Connection):
                driver.deserialize(_tables())
        with Session(engine) as scratch:
            yield scratch
    finally:
        engine.dispose()


@cache
def _tables() -> bytes:
    """Return an empty store with all tables, made once a process."""
    engine = create_engine("sqlite://", poolclass=StaticPool)
    Base.metadata.create_all(engine)
    with engine.connect() as connection:
        driver = connection.connection.driver_connection
        made = driver.serialize() if isinstance(driver, sqlite3.Connection) else b""
    engine.dispose()
    return made
