"""Nothing that people wait for passes over the whole store, on SQLite without any statistics.

A store grows for thirty years, and nobody runs ANALYZE. The plans are asked of SQLite itself, for
the very statements that a story of acts and the answers after it have sent.
"""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final
from uuid import UUID

import pytest
from sqlalchemy import Engine, create_engine, event, text

from tests.make import (
    CANNULA,
    HEATER,
    HOUR,
    NOON,
    OXYGENATOR,
    PACK,
    TAP,
    TAP_CARTON,
    UNKNOWN,
    Ward,
    code,
    opened_ward,
)
from tests.recall.asking import answered
from tests.recall.story import LOTS, Story, fill_ward
from tests.stock_acts import Shelves
from traceability.domain.keys import lot_key, product_key
from traceability.domain.notice_scope import (
    DATED,
    ProductRef,
    Said,
    Scope,
    ScopeClause,
    ScopeTest,
)
from traceability.reads.can_prime import can_prime
from traceability.reads.equipment import machine_life
from traceability.reads.happenings import happenings
from traceability.reads.lot_record import lot_record
from traceability.reads.machines import machines
from traceability.reads.run_extras import keepers, run_extras, tag_is_old
from traceability.reads.shelf import shelf
from traceability.reads.standby import standby_log
from traceability.reads.stock import product_stock
from traceability.reads.stock_lines import changes, newest_receipts
from traceability.recall.excluded import excluded_rows
from traceability.recall.shown import all_circuits, shown
from traceability.storage.metadata import metadata

GROWING: Final = (
    "circuit|circuit_on_run|circuit_phase|circuit_place|circuit_way|event|hold|kept_apart|lot|part|"
    "patient|prime|print_order|request|run|run_patient|shelf_check|signature|told_by_hand|"
    "stock_change|stock_level|stock_receipt|"
    "trolley_act|prime_pause|prime_pair|waiting_act|additive|custody|equipment_place|equipment_use|run_mode|run_part"
)
"""Tables that grow as long as the service runs; all others hold a unit's lists."""

WHOLE_TABLE: Final = re.compile(
    rf"SCAN ({GROWING})\b|SEARCH ({GROWING}) USING [\w ]+ \(site_id=\?( AND \w+[<>]\?)*\)$"
)
"""Every row is looked at; with a range beside the site it still is, for ranges here mean "before
that entry"."""

LAST_FEW: Final = "SELECT stock_receipt.product_id, stock_receipt.lot_id, stock_receipt.quantity"

ANYTHING: Final = "a product that nobody entered may be any part without a lot: the index of those"

KNOWN: Final = {
    LAST_FEW: "the newest receipts, from the end of the key, with a limit",
    "SELECT count(*) AS count_1 FROM circuit WHERE": "coverage counts circuits, in the index alone",
    "SELECT event.number, event.recorded_at, event.device_id FROM event": "one row, from the end",
    "SELECT circuit.id, circuit.site_id, circuit.circuit_type, circuit.sheet_version FROM": (
        "as of an earlier entry: primes that ended since, and no others"
    ),
    "SELECT count(*) AS count_1 FROM run WHERE": "coverage counts runs; they are few",
    "SELECT circuit.begun_at FROM circuit WHERE": "the first circuit, from the end of the index",
    "SELECT circuit.id, circuit.number, circuit.circuit_type, circuit.begun_no FROM circuit": (
        "a page of excluded circuits, from the end, with a limit"
    ),
    "SELECT count(*) AS count_1, count(run_part.lot_id) AS count_2": (
        "as of an earlier entry: pieces that lie in patients; a few for each run"
    ),
    "SELECT part.circuit_id FROM part WHERE part.circuit_id IN": ANYTHING,
    "SELECT count(DISTINCT part.circuit_id) AS count_1 FROM part WHERE lot_id IS NULL": ANYTHING,
    "SELECT part.circuit_id FROM part WHERE lot_id IS NULL": ANYTHING,
    "SELECT count(*) AS count_1 FROM patient WHERE": "numbers a temporary identity; runs are few",
}

BLOCK: Final = "(site_id=? AND recorded_no>? AND recorded_no<?)"
"""A begun block of ledger numbers: it has both its ends."""

FEW: Final = ("ix_stock_level_some", "ix_part_disputed")
"""Indexes of a part of a growing table that does not grow: lots of which something is there, parts
that are claimed twice."""


@contextmanager
def _statements(*engines: Engine) -> Iterator[dict[str, Any]]:
    """Collect each statement once, with the values it was sent with."""
    sent: dict[str, Any] = {}

    def _keep(_c: Any, _cursor: Any, statement: str, values: Any, _x: Any, _many: bool) -> None:
        if statement.startswith(("SELECT", "UPDATE")):
            sent.setdefault(" ".join(statement.split()), values)

    for engine in engines:
        event.listen(engine, "before_cursor_execute", _keep)
    yield sent
    for engine in engines:
        event.remove(engine, "before_cursor_execute", _keep)


@pytest.fixture
def ward(tmp_path: Path) -> Iterator[Ward]:
    url = f"sqlite:///{tmp_path / 'plans.db'}"
    engine = create_engine(url)
    metadata.create_all(engine)
    engine.dispose()
    with opened_ward(url, tmp_path) as ward:
        fill_ward(ward)
        yield ward


def test_acts_and_answers_find_their_rows_through_indexes(ward: Ward) -> None:
    services = ward.services
    with _statements(services.writer, services.reader) as sent:
        story = Story(ward, 7)
        for _ in range(100):
            story.go()
        _at_the_shelves(Shelves(ward))
        last = ward.begin()
        run = _beside_a_circuit(ward)
        acts = len(sent)
        with ward.reads() as session:
            _answers(ward, session)
            assert happenings(session, ward.site.id, last)
            shelf(session, ward.site.id, ward.now)
            zone = ward.site.zone
            can_prime(session, ward.site.id, ward.now, zone, weeks=8)
            for tap in (product_key("gs1", TAP, site_id=ward.site.id),):
                assert product_stock(session, ward.site.id, tap, ward.now, zone)
                assert changes(session, ward.site.id, tap)
            assert newest_receipts(session, ward.site.id)
            run_extras(session, ward.site.id, run)
            keepers(session, ward.site.id, last)
            tag_is_old(session, ward.site.id, last)
            [machine] = machines(session, ward.site.id)
            assert machine_life(session, ward.site.id, machine.id)
            standby_log(session, ward.site.id, NOON, ward.now)
            tap_lot = lot_key(product_key("gs1", TAP, site_id=ward.site.id), LOTS[0])
            record = lot_record(session, ward.site.id, tap_lot)
            assert record is not None
            assert record.received
            assert record.uses
    assert acts > 40
    assert len(sent) > acts + 10
    with services.reader.connect() as connection:
        assert not connection.scalar(
            text("SELECT count(*) FROM sqlite_master WHERE name = 'sqlite_stat1'")
        )
        raw: Any = connection.connection.dbapi_connection
        found = [
            f"{step[3]}: {statement}"
            for statement, values in sent.items()
            for step in raw.execute(f"EXPLAIN QUERY PLAN {statement}", values)
            if WHOLE_TABLE.match(step[3])
            and not statement.startswith(tuple(KNOWN))
            and not any(index in step[3] for index in FEW)
            and not step[3].endswith(BLOCK)
        ]
    assert found == [], "\n".join(found)


def _at_the_shelves(shelves: Shelves) -> None:
    """Receive, use, count, move and take out; used pieces and pieces given back among them."""
    shelves.receive(code(TAP, LOTS[0]), packs=9, supplier="Van")
    circuit = shelves.ward.begin()
    shelves.ward.scan(circuit, code(TAP, LOTS[0]))
    shelves.ward.undo(circuit)
    shelves.count(TAP, (LOTS[0], "trolley 1", 8))
    shelves.move(TAP, LOTS[0], 1, "trolley 1", "box 3")
    shelves.out(TAP, LOTS[0], 1, "box 3")
    shelves.receive(code(OXYGENATOR, "O1", serial="OX-77"))
    shelves.count(TAP, (LOTS[0], "box 3", 0))
    shelves.declare(TAP)
    shelves.carton(PACK, ("PK1",), OXYGENATOR, "O1", sole=True)
    shelves.rule(TAP, LOTS[0], LOTS[1], same=True)


def _beside_a_circuit(ward: Ward) -> UUID:
    """Put a cannula and a machine beside a circuit, and return their run."""
    circuit = ward.prime()
    run = UUID(str(ward.take(circuit).facts["run_id"]))
    ward.flow_on(circuit)
    ward.mode(run)
    ward.part_out(run, ward.part_in(run, code(CANNULA, "CN-1", serial="S1")).subject)
    one = ward.machine()
    ward.move_machine(one, "console 3")
    ward.unequip(ward.equip(run_id=run, equipment_id=one).subject)
    ward.add_part(circuit, code(TAP, "T1"))
    ward.give(circuit, name="Heparin")
    ward.end_run(run)
    ward.keep(circuit)
    ward.pass_on(circuit)
    return run


def _answers(ward: Ward, session: Any) -> None:
    """Ask in every way a clause can be written, now and as of an earlier entry."""
    tests = (
        (),
        (ScopeTest(kind=Said.LOTS, texts=(LOTS[0],)),),
        (ScopeTest(kind=Said.LOT_RANGE, first="T1", last="T99"),),
        (ScopeTest(kind=Said.SERIALS, texts=("OX-1", "HC-1")),),
        (ScopeTest(kind=Said.SERIAL_RANGE, first="OX-1", last="OX-9"),),
        *((ScopeTest(kind=kind, first="2031-05-01", last="2031-06-01"),) for kind in sorted(DATED)),
        (ScopeTest(kind=Said.SUPPLIER, texts=("Van",)),),
    )
    refs = [ProductRef(standard="gs1", identifier=gtin) for gtin in (TAP, OXYGENATOR, CANNULA)]
    refs += [
        ProductRef(standard="gs1", identifier=TAP_CARTON),
        ProductRef(standard="gs1", identifier=UNKNOWN),
        ProductRef(maker="Oskerby Devices", item_number="T-1"),
        ProductRef(standard="gs1", identifier=HEATER),
        ProductRef(kind="heater-cooler", maker="Mellowick Perfusion", item_number="Warm 4"),
    ]
    for ref in refs:
        for test in tests:
            scope = Scope(
                clauses=(
                    ScopeClause(products=(ref,), tests=test, used_from=NOON - 9 * HOUR),
                    ScopeClause(products=(ref,), excepted=test, containing=True),
                )
            )
            for as_of in (None, 60):
                found = answered(session, ward, scope, as_of)
                shown(session, found, {})
                list(all_circuits(session, found))
                excluded_rows(session, found)
