"""A store of any size, written row by row past the acts: only for measuring reads.

A ward of real acts stands at its beginning, so that pages open. Circuits follow, each with 25 rows
of parts, its phases and places, four in ten with a run and a heater-cooler. Event rows exist for
runs alone: the chain of such a store does not verify. Everything follows from the circuit's number.

One connector in twenty has no lot on record, and the connectors' stock book is complete: an answer
about them has to count. Filling can be taken up again where it stopped.
"""

import io
import json
import sqlite3
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, Final
from uuid import UUID

import psycopg
from click import progressbar
from sqlalchemy import Connection, Engine, select, text

from tests.make import HEATER, OXYGENATOR, PACK, SALINE, SYRINGE, TAP, TYPE
from traceability.domain.keys import lot_key, product_key, unit_key
from traceability.domain.scopes import loose_key
from traceability.storage.engine import is_sqlite
from traceability.storage.metadata import metadata
from traceability.storage.part_counts import BLOCK
from traceability.storage.stock import level_key

BEGAN: Final = datetime(1931, 1, 1, tzinfo=UTC)
BEGAN_HERE: Final = datetime(2030, 1, 1, tzinfo=UTC)
"""Between the last circuit that is filled in and the first that a test begins by acts."""
EVERY: Final = timedelta(hours=2)
EVENTS: Final = 60
"""Numbers that a circuit takes up in the ledger."""

TAPS: Final = 5
LINES: Final = 9
SHARED: Final = 25
"""Circuits that a lot of taps usually reaches."""

TEN: Final = "LOT-IN-TEN"
MANY: Final = "LOT-IN-5000"
GAP_EVERY: Final = 5_000
"""One circuit in so many has a tap whose lot is not readable; as many come from elsewhere."""

CONNECTOR: Final = "09521234000136"
LINE: Final = "09521234000150"
MANY_CONNECTORS: Final = "C-LOT-IN-5000"
UNREAD_EVERY: Final = 20
"""One circuit in so many has a connector whose lot nobody recorded."""
HEATERS: Final = 20
RARE: Final = "09521234000143"
CONNECTOR_LINE: Final = 5
"""Place of the connector's row among those of its circuit, counted from its beginning."""

MANY_IN: Final = 5_000
"""Circuits, the oldest, that share one lot of taps and one of connectors."""

RARE_IN: Final = 2_000
"""Circuits with a product that only the oldest have, over many lots."""

STOPPED_EVERY: Final = 100
SUPERSEDED: Final = 2
"""Rows of each circuit that were superseded while priming: inside the pack, then scanned."""


@dataclass(frozen=True, slots=True)
class Row:
    """One row for one table."""

    table: str
    values: tuple[Any, ...]


def fill(engine: Engine, site_id: UUID, place_id: UUID, *, first_no: int, circuits: int) -> None:
    """Write the circuits and what belongs to them, and set the ledger's head behind the last.

    What an earlier call wrote stays; the next goes on where it stopped.
    """
    load = _sqlite_loader if is_sqlite(str(engine.url)) else _postgresql_loader
    columns = {name: [c.name for c in table.columns] for name, table in metadata.tables.items()}
    put = load(engine, columns)
    there = _circuits_there(engine)
    if not there:
        machines: dict[str, list[tuple[Any, ...]]] = {}
        for table, values in heaters(first_no):
            row = _tuple(columns[table], {"site_id": site_id, **values})
            machines.setdefault(table, []).append(row)
        put(machines)
    with progressbar(length=circuits, label=f"{circuits:,} circuits", file=sys.stderr) as bar:
        bar.update(there)
        for start in range(there, circuits, AT_ONCE):
            rows: dict[str, list[tuple[Any, ...]]] = {}
            numbers = range(start, min(start + AT_ONCE, circuits))
            for number in numbers:
                for table, values in (
                    *_lots_first_used(number, circuits, first_no, place_id),
                    *_circuit(number, circuits, first_no, place_id),
                ):
                    row = _tuple(columns[table], {"site_id": site_id, **values})
                    rows.setdefault(table, []).append(row)
            put(rows)
            bar.update(len(numbers))
    last = first_no + circuits * EVENTS
    with engine.begin() as connection:
        _count(connection)
        end = _event(last, BEGAN + circuits * EVERY)
        connection.execute(metadata.tables["event"].insert(), {"site_id": site_id, **end})
        head = metadata.tables["ledger_head"]
        connection.execute(head.update().values(number=last, hash="0" * 64))


AT_ONCE: Final = 2_000
"""Circuits in one transaction; a multiple of what shares a lot."""


def _circuits_there(engine: Engine) -> int:
    table = metadata.tables["circuit"]
    with engine.connect() as connection:
        rows = connection.execute(select(table.c.number).where(table.c.begun_at < BEGAN_HERE))
        return len(rows.all())


def _count(connection: Connection) -> None:
    """Keep the counters that acts keep as they go."""
    connection.execute(text("DELETE FROM part_count"))
    sqlite = connection.dialect.name == "sqlite"
    nobody = "zeroblob(16)" if sqlite else f"'{UUID(int=0)}'::uuid"
    for table in ("part", "run_part"):
        for number, sign in (("recorded_no", ""), ("superseded_no", "-")):
            connection.execute(
                text(
                    f"""INSERT INTO part_count
                    (site_id, kind, product_id, block, parts, with_lot, with_serial)
                    SELECT site_id, kind, coalesce(product_id, {nobody}), {number} / {BLOCK},
                    {sign}count(*), {sign}count(lot_id), {sign}count(serial) FROM {table}
                    WHERE {number} IS NOT NULL AND state <> 'not-fitted'
                    GROUP BY site_id, kind, coalesce(product_id, {nobody}), {number} / {BLOCK}
                    ON CONFLICT (site_id, kind, product_id, block) DO UPDATE SET
                    parts = part_count.parts + excluded.parts,
                    with_lot = part_count.with_lot + excluded.with_lot,
                    with_serial = part_count.with_serial + excluded.with_serial"""
                )
            )


def _tuple(names: Sequence[str], values: dict[str, Any]) -> tuple[Any, ...]:
    assert values.keys() <= set(names), values.keys() - set(names)
    return tuple(values.get(name) for name in names)


def _key(identifier: str) -> UUID:
    return product_key("gs1", identifier, site_id=UUID(int=0))


def _tap_lot(number: int, circuits: int) -> str:
    if circuits // 2 <= number < circuits // 2 + 10:
        return TEN
    return MANY if number < MANY_IN else f"T{number // SHARED:06d}"


def _connector_lot(number: int) -> str:
    return MANY_CONNECTORS if number < MANY_IN else f"CN{number // SHARED:06d}"


def _is_unread(number: int) -> bool:
    return number % UNREAD_EVERY == 3


def _lots_first_used(
    number: int, circuits: int, first_no: int, place_id: UUID
) -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield the lots that a circuit is the first to use, with what the book says of connectors."""
    base, at = first_no + number * EVENTS, BEGAN + number * EVERY
    begins = number % SHARED == 0
    lots: list[tuple[str, str]] = []
    if number in {0, circuits // 2} or (begins and number >= MANY_IN):
        lots.append((_tap_lot(number, circuits), TAP))
        if begins and number == circuits // 2:
            lots.append((f"T{number // SHARED:06d}", TAP))
    if begins:
        share = number // SHARED
        others = (("PK", PACK), ("OX", OXYGENATOR), ("SA", SALINE), ("SY", SYRINGE), ("LI", LINE))
        lots += [(f"{letters}{share:06d}", gtin) for letters, gtin in others]
    if number % 10 == 0 and number < RARE_IN:
        lots.append((f"RR{number // 10:04d}", RARE))
    for lot, gtin in lots:
        yield "lot", _lot(lot, gtin, base)
    if number == 0 or (begins and number >= MANY_IN):
        shared = range(number, MANY_IN if number == 0 else number + SHARED)
        yield from _booked(shared, first_no, at - timedelta(hours=1), place_id)


def _lot(lot: str, gtin: str, number: int) -> dict[str, Any]:
    product_id = _key(gtin)
    return {
        "id": lot_key(product_id, lot),
        "product_id": product_id,
        "text": lot,
        "loose_key": loose_key(lot),
        "first_no": number,
    }


def _booked(
    shared: range, first_no: int, came_at: datetime, place_id: UUID
) -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield a lot of connectors: received, used but for those that nobody read."""
    base = first_no + shared[0] * EVENTS
    lot = _lot(_connector_lot(shared[0]), CONNECTOR, base)
    yield "lot", lot
    product_id, lot_id = lot["product_id"], lot["id"]
    yield (
        "stock_receipt",
        {
            "recorded_no": base,
            "line": 0,
            "valid_from": came_at,
            "disputed": False,
            "product_id": product_id,
            "lot_id": lot_id,
            "quantity": len(shared),
            "place_id": place_id,
            "known": "scanned",
            "device_id": UUID(int=0xD1),
        },
    )
    unread = sum(map(_is_unread, shared))
    batches = [[came_at.isoformat(timespec="microseconds"), unread]] if unread else []
    yield (
        "lot_book",
        {
            "lot_id": lot_id,
            "product_id": product_id,
            "batches": json.dumps(batches, separators=(",", ":")),
            "short": False,
            "is_open": bool(unread),
            "changed_no": first_no + shared[-1] * EVENTS + CONNECTOR_LINE,
        },
    )
    yield (
        "stock_level",
        {
            "id": level_key(product_id, lot_id, place_id),
            "product_id": product_id,
            "lot_id": lot_id,
            "place_id": place_id,
            "quantity": unread,
        },
    )


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
            part_id = UUID(int=(base << 8) + line)
            usual = {"part_id": part_id, "stays": False, "leaves": False}
            yield "part", {**begun, **usual, "line": line, "recorded_no": base + 1 + line, **part}
            if part["kind"] == "connector" and part.get("lot_id"):
                yield "stock_change", _used(base + 1 + line, at, part, part_id, place_id)
        yield "unit_seen", _unit(number)
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


def _used(
    number: int, at: datetime, part: dict[str, Any], part_id: UUID, place_id: UUID
) -> dict[str, Any]:
    return {
        "recorded_no": number,
        "line": 0,
        "at": at,
        "product_id": part["product_id"],
        "lot_id": part["lot_id"],
        "place_id": place_id,
        "quantity": -1,
        "why": "used",
        "reason": "",
        "part_id": part_id,
    }


def _serial(number: int) -> str:
    return f"S{number:07d}"


def _unit(number: int) -> dict[str, Any]:
    product_id, serial = _key(OXYGENATOR), _serial(number)
    return {
        "unit_id": unit_key(product_id, serial),
        "product_id": product_id,
        "serial": serial,
        "loose_key": loose_key(serial),
    }


def machine_id(number: int) -> UUID:
    """Return the id of one of the heater-coolers."""
    return UUID(int=(4 << 100) + number)


def heaters(first_no: int) -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield the register."""
    for number in range(HEATERS):
        yield "equipment", {"id": machine_id(number), "first_no": first_no}
        yield (
            "equipment_state",
            {
                "recorded_no": first_no,
                "line": number,
                "valid_from": BEGAN,
                "disputed": False,
                "equipment_id": machine_id(number),
                "kind": "heater-cooler",
                "product_id": _key(HEATER),
                "maker": "Mellowick Perfusion",
                "model": "Warm 4",
                "serial": f"HC-{number:03d}",
                "asset_number": f"A{number:05d}",
                "software": "",
                "made": "",
                "owner": "",
                "active": True,
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
    yield (
        "equipment_use",
        {
            "recorded_no": base + 56,
            "line": 0,
            "valid_from": taken,
            "valid_to": off,
            "disputed": False,
            "use_id": UUID(int=(5 << 100) + number),
            "equipment_id": machine_id(number % HEATERS),
            "kind": "heater-cooler",
            "product_id": _key(HEATER),
            "serial": f"HC-{number % HEATERS:03d}",
            "run_id": run_id,
            "none_used": False,
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
    """Yield 25 rows: taps, lines, a connector, other pieces, ticks, and what was superseded."""
    share = number // SHARED
    stopped = number % STOPPED_EVERY == 7
    yield _piece("pack", "circuit-pack", PACK, f"PK{share:06d}")
    inside = {"state": "inside-pack", "known": "pack", "superseded_no": base + 20}
    yield {"slot": "oxygenator", "ordinal": 1, "kind": "oxygenator", **inside}
    yield {"slot": "tap-pump", "ordinal": 1, "kind": "tap", **inside}
    yield {
        **_piece("oxygenator", "oxygenator", OXYGENATOR, f"OX{share:06d}"),
        "serial": _serial(number),
        "unit_id": _unit(number)["unit_id"],
    }
    connector = _piece("connector", "connector", CONNECTOR, _connector_lot(number))
    if _is_unread(number):
        connector |= {"lot_id": None, "state": "lot-not-recorded", "known": "said"}
    yield connector
    for tap in range(TAPS):
        piece = _piece(f"tap-{tap}", "tap", TAP, _tap_lot(number, circuits))
        if tap == 3 and number % GAP_EVERY == 11:
            piece |= {"lot_id": None, "product_id": None, "state": "lot-not-readable"}
        if not (stopped and tap > 3):
            yield piece
    for line in range(LINES):
        yield _piece(f"line-{line}", "line", LINE, f"LI{share:06d}")
    for bag in (1, 2):
        fluid = _piece("saline", "fluid", SALINE, f"SA{share:06d}")
        yield {**fluid, "ordinal": bag, "stays": True, "volume_ml": 1000}
    yield {**_piece("syringe", "syringe", SYRINGE, f"SY{share:06d}"), "leaves": True}
    if number < RARE_IN:
        yield _piece("rare", "sensor", RARE, f"RR{number // 10:04d}")
    for tie in (1, 2) if number < RARE_IN else (1, 2, 3):
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
