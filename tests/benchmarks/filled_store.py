"""A store of any size, written row by row past the acts: only for measuring reads.

A ward of real acts stands at its beginning, so that pages open. Circuits follow, each with 25 rows
of parts, its phases and places, four in ten with a run. Event rows exist for runs alone: the chain
of such a store does not verify. Everything follows from the circuit's number.
"""

import io
import json
import sqlite3
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, Final
from uuid import UUID

import psycopg
from sqlalchemy import Engine

from tests.make import OXYGENATOR, PACK, SALINE, SYRINGE, TAP, TYPE
from traceability.domain.keys import lot_key, product_key, unit_key
from traceability.domain.scopes import loose_key
from traceability.storage.engine import is_sqlite
from traceability.storage.metadata import metadata

BEGAN: Final = datetime(1931, 1, 1, tzinfo=UTC)
EVERY: Final = timedelta(hours=8)
EVENTS: Final = 60
"""Numbers that a circuit takes up in the ledger."""

TAPS: Final = 15
SHARED: Final = 25
"""Circuits that a lot of taps usually reaches."""

TEN: Final = "LOT-IN-TEN"
MANY: Final = "LOT-IN-5000"
GAP_EVERY: Final = 5_000
"""One circuit in so many has a tap whose lot is not readable; as many come from elsewhere."""

STOPPED_EVERY: Final = 100
SUPERSEDED: Final = 2
"""Rows of each circuit that were superseded while priming: inside the pack, then scanned."""


@dataclass(frozen=True, slots=True)
class Row:
    """One row for one table."""

    table: str
    values: tuple[Any, ...]


def fill(engine: Engine, site_id: UUID, place_id: UUID, *, first_no: int, circuits: int) -> None:
    """Write the circuits and what belongs to them, and set the ledger's head behind the last."""
    load = _sqlite_loader if is_sqlite(str(engine.url)) else _postgresql_loader
    rows: dict[str, list[tuple[Any, ...]]] = {}
    columns = {name: [c.name for c in table.columns] for name, table in metadata.tables.items()}
    put = load(engine, columns)
    for lot in _lots(circuits):
        rows.setdefault("lot", []).append(_tuple(columns["lot"], {"site_id": site_id, **lot}))
    put(rows)
    for number in range(circuits):
        for table, values in _circuit(number, circuits, first_no, place_id):
            row = _tuple(columns[table], {"site_id": site_id, **values})
            rows.setdefault(table, []).append(row)
        if number % 2_000 == 1_999:
            put(rows)
    put(rows)
    last = first_no + circuits * EVENTS
    with engine.begin() as connection:
        end = _event(last, BEGAN + circuits * EVERY)
        connection.execute(metadata.tables["event"].insert(), {"site_id": site_id, **end})
        head = metadata.tables["ledger_head"]
        connection.execute(head.update().values(number=last, hash="0" * 64))


def _tuple(names: Sequence[str], values: dict[str, Any]) -> tuple[Any, ...]:
    assert values.keys() <= set(names), values.keys() - set(names)
    return tuple(values.get(name) for name in names)


def _key(identifier: str) -> UUID:
    return product_key("gs1", identifier, site_id=UUID(int=0))


def _tap_lot(number: int, circuits: int) -> str:
    if circuits // 2 <= number < circuits // 2 + 10:
        return TEN
    if number < 5_000:
        return MANY
    return f"T{number // SHARED:06d}"


def _lots(circuits: int) -> Iterator[dict[str, Any]]:
    texts = {_tap_lot(number, circuits): _key(TAP) for number in range(circuits)}
    others = [("PK", PACK), ("OX", OXYGENATOR), ("SA", SALINE), ("SY", SYRINGE)]
    texts |= {
        f"{letters}{number:06d}": _key(gtin)
        for letters, gtin in others
        for number in range(circuits // SHARED + 1)
    }
    for text, product_id in texts.items():
        yield {
            "id": lot_key(product_id, text),
            "product_id": product_id,
            "text": text,
            "loose_key": loose_key(text),
            "first_no": 1,
        }


def _circuit(
    number: int, circuits: int, first_no: int, place_id: UUID
) -> Iterator[tuple[str, dict[str, Any]]]:
    base, at = first_no + number * EVENTS, BEGAN + number * EVERY
    circuit_id = UUID(int=(1 << 100) + number)
    foreign = number % GAP_EVERY == GAP_EVERY // 2
    stopped = number % STOPPED_EVERY == 7
    yield (
        "circuit",
        {
            "id": circuit_id,
            "number": f"{'X' if foreign else 'C'}-{number:06d}",
            "origin": "foreign" if foreign else "own",
            "circuit_type": TYPE,
            "sheet_version": 1,
            "begun_at": at,
            "begun_no": base,
            "contents": "not-recorded" if foreign else "recorded",
            "prime_ended_no": None if foreign or stopped else base + 50,
        },
    )
    if not foreign:
        for line, part in enumerate(_parts(number, circuits, base)):
            begun = {"circuit_id": circuit_id, "valid_from": at, "disputed": False}
            usual = {"part_id": UUID(int=(base << 8) + line), "stays": False, "leaves": False}
            yield "part", {**begun, **usual, "line": line, "recorded_no": base + 1 + line, **part}
    primed = at + timedelta(hours=1)
    if not foreign and not stopped:
        yield (
            "prime",
            {
                **_link(base + 50, circuit_id, primed),
                "use_by": primed + timedelta(days=30),
                "decides": "{}",
                "comes_next": "null",
                "fill_ml": 1500,
                "policy_version": 1,
            },
        )
    phase = "discarded"
    if number % 5 < 2 and not stopped:
        phase = "ended"
        yield from _run(number, base, circuit_id, primed)
    yield (
        "circuit_phase",
        {
            **_link(base + 58, circuit_id, primed + timedelta(days=9)),
            "phase": phase,
            "reason": "used",
        },
    )
    yield (
        "circuit_place",
        {
            **_link(base, circuit_id, at),
            "valid_to": primed + timedelta(days=9),
            "place_id": place_id,
        },
    )


def _run(
    number: int, base: int, circuit_id: UUID, primed: datetime
) -> Iterator[tuple[str, dict[str, Any]]]:
    run_id, patient_id = UUID(int=(2 << 100) + number), UUID(int=(3 << 100) + number)
    taken, off = primed + timedelta(days=2), primed + timedelta(days=8)
    run = {"id": run_id, "number": f"R-{number:06d}", "begun_at": taken, "ended_at": off}
    yield "run", {**run, "begun_no": base + 52}
    yield "patient", {"id": patient_id, "temporary": f"TEMP-{number}"}
    yield (
        "run_patient",
        {
            "recorded_no": base + 53,
            "line": 0,
            "valid_from": taken,
            "disputed": False,
            "run_id": run_id,
            "patient_id": patient_id,
        },
    )
    yield (
        "circuit_on_run",
        {
            **_link(base + 55, circuit_id, taken),
            "valid_to": off,
            "flow_from": taken + timedelta(minutes=9),
            "run_id": run_id,
        },
    )
    yield "event", _event(base + 55, off)


def _event(number: int, at: datetime) -> dict[str, Any]:
    return {
        "number": number,
        "device_id": UUID(int=0xD1),
        "request_id": UUID(int=number),
        "happened_at": at,
        "recorded_at": at,
        "kind": "flow-off",
        "body": json.dumps({"manner": "planned", "number": number, "cautions": []}),
        "previous_hash": "0" * 64,
        "hash": "0" * 64,
    }


def _link(number: int, circuit_id: UUID, at: datetime) -> dict[str, Any]:
    return {
        "recorded_no": number,
        "line": 0,
        "valid_from": at,
        "disputed": False,
        "circuit_id": circuit_id,
    }


def _parts(number: int, circuits: int, base: int) -> Iterator[dict[str, Any]]:
    """Yield 25 rows: 15 taps, 5 other pieces, 3 ticks, and what was superseded meanwhile."""
    share = number // SHARED
    stopped = number % STOPPED_EVERY == 7
    yield _piece("pack", "circuit-pack", PACK, f"PK{share:06d}")
    inside = {"state": "inside-pack", "known": "pack", "superseded_no": base + 20}
    yield {"slot": "oxygenator", "ordinal": 1, "kind": "oxygenator", **inside}
    yield {"slot": "tap-pump", "ordinal": 1, "kind": "tap", **inside}
    serial = f"S{number:07d}"
    yield {
        **_piece("oxygenator", "oxygenator", OXYGENATOR, f"OX{share:06d}"),
        "serial": serial,
        "unit_id": unit_key(_key(OXYGENATOR), serial),
    }
    for tap in range(TAPS):
        piece = _piece(f"tap-{tap}", "tap", TAP, _tap_lot(number, circuits))
        if tap == 3 and number % GAP_EVERY == 11:
            piece |= {"lot_id": None, "product_id": None, "state": "lot-not-readable"}
        if not (stopped and tap > 9):
            yield piece
    for bag in (1, 2):
        fluid = _piece("saline", "fluid", SALINE, f"SA{share:06d}")
        yield {**fluid, "ordinal": bag, "stays": True, "volume_ml": 1000}
    yield {**_piece("syringe", "syringe", SYRINGE, f"SY{share:06d}"), "leaves": True}
    for tie in (1, 2, 3):
        yield {"slot": "ties", "ordinal": tie, "kind": "tie", "state": "ticked", "known": "said"}


def _piece(slot: str, kind: str, gtin: str, lot: str) -> dict[str, Any]:
    product_id = _key(gtin)
    return {
        "slot": slot,
        "ordinal": 1,
        "kind": kind,
        "state": "recorded",
        "known": "scanned",
        "product_id": product_id,
        "lot_id": lot_key(product_id, lot),
        "expiry": "2033-03-31",
    }


Put = Callable[[dict[str, list[tuple[Any, ...]]]], None]
PARENTS_FIRST: Final = [table.name for table in metadata.sorted_tables]


def _in_order(rows: dict[str, list[tuple[Any, ...]]]) -> Iterator[tuple[str, list[Any]]]:
    for name in PARENTS_FIRST:
        if rows.get(name):
            yield name, rows.pop(name)


def _sqlite_loader(engine: Engine, columns: dict[str, list[str]]) -> Put:
    def _plain(value: object) -> object:
        if isinstance(value, UUID):
            return value.bytes
        return f"{value:%Y-%m-%d %H:%M:%S.%f}" if isinstance(value, datetime) else value

    def _put(rows: dict[str, list[tuple[Any, ...]]]) -> None:
        with sqlite3.connect(str(engine.url.database)) as connection:
            connection.execute("PRAGMA synchronous = OFF")
            for name, found in _in_order(rows):
                marks = ", ".join("?" * len(columns[name]))
                connection.executemany(
                    f"INSERT INTO {name} ({', '.join(columns[name])}) VALUES ({marks})",
                    [tuple(map(_plain, row)) for row in found],
                )
        connection.close()

    return _put


def _postgresql_loader(engine: Engine, columns: dict[str, list[str]]) -> Put:
    def _plain(value: object) -> str:
        if value is None:
            return r"\N"
        return str(value).replace("\\", "\\\\").replace("\t", "\\t")

    def _put(rows: dict[str, list[tuple[Any, ...]]]) -> None:
        address = engine.url.set(drivername="postgresql")
        with psycopg.connect(address.render_as_string(hide_password=False)) as connection:
            for name, found in _in_order(rows):
                text = io.StringIO()
                text.writelines("\t".join(map(_plain, row)) + "\n" for row in found)
                cursor = connection.cursor()
                with cursor.copy(f"COPY {name} ({', '.join(columns[name])}) FROM STDIN") as copy:
                    copy.write(text.getvalue())

    return _put
