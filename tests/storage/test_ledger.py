"""The ledger holds what it was given, in order, shows every later change, and makes every table."""

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from uuid import UUID, uuid4

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule, run_state_machine_as_test
from sqlalchemy import delete, func, inspect, select, text, update
from sqlalchemy.exc import DBAPIError

from tests.make import HOUR, NOON, SECOND, SYRINGE, TAP, TROLLEY_2, Ward, code, opened_ward
from traceability.domain.moments import Manner
from traceability.errors import Busy, Refused, RequestIdReused
from traceability.settings import Settings
from traceability.storage.circuits import CircuitPhase, CircuitPlace, Part
from traceability.storage.engine import make_writer
from traceability.storage.kept_apart import KeptApart, erase_kept, is_as_recorded, uuid7
from traceability.storage.ledger import (
    LedgerEvent,
    LedgerHead,
    canonical,
    event_hash,
    first_break,
    number_at,
)
from traceability.storage.rebuild import projected_tables, rebuild, table_digest
from traceability.storage.requests import Request
from traceability.storage.runs import CircuitOnRun
from traceability.wiring import wire


@pytest.fixture
def ward(url: str, tmp_path: Path) -> Iterator[Ward]:
    with opened_ward(url, tmp_path / "var") as ward:
        yield ward


def test_the_chain_is_whole_and_every_body_is_canonical(ward: Ward) -> None:
    ward.prime()
    with ward.reads() as session:
        assert first_break(session, ward.site.id) is None
        bodies = session.scalars(select(LedgerEvent.body)).all()
    assert bodies == [canonical(json.loads(body)) for body in bodies]


EDITS: dict[str, object] = {
    "site_id": UUID(int=1),
    "number": 2,
    "device_id": UUID(int=1),
    "actor_id": UUID(int=2),
    "request_id": UUID(int=1),
    "happened_at": NOON + timedelta(microseconds=1),
    "recorded_at": NOON + timedelta(microseconds=1),
    "kind": "circuit-moved",
    "body": "{}",
    "previous_hash": "f" * 64,
}


@pytest.mark.parametrize("column", EDITS)
def test_the_hash_covers_every_column(ward: Ward, column: str) -> None:
    with ward.reads() as session:
        event = session.scalars(select(LedgerEvent).filter_by(number=1)).one()
        session.expunge(event)
    assert event.hash == event_hash(event)
    setattr(event, column, EDITS[column])
    assert event.hash != event_hash(event)
    assert {*EDITS, "hash"} == {each.name for each in LedgerEvent.__table__.columns}


@pytest.mark.parametrize(
    "change",
    [
        update(LedgerEvent).values(body="{}"),
        update(LedgerEvent).values(actor_id=None),
        delete(LedgerEvent),
        update(Part).values(slot="x"),
        update(Part).values(lot_id=None),
        update(CircuitOnRun).values(valid_to=NOON),
        update(CircuitPhase).values(superseded_no=9),
        delete(CircuitPlace),
        delete(Part),
    ],
)
def test_the_database_refuses_to_change_what_was_recorded(ward: Ward, change: object) -> None:
    circuit = ward.prime()
    ward.take(circuit)
    ward.flow_on(circuit)
    with (
        pytest.raises(DBAPIError, match="append-only"),
        ward.services.writes.begin() as session,
    ):
        session.execute(change)  # type: ignore[call-overload]


def test_neither_replace_nor_truncate_gets_round_the_triggers(ward: Ward) -> None:
    sqlite = inspect(ward.services.writer).dialect.name == "sqlite"
    way_round = "INSERT OR REPLACE INTO event SELECT * FROM event" if sqlite else "TRUNCATE event"
    with (
        pytest.raises(DBAPIError, match="append-only"),
        ward.services.writes.begin() as session,
    ):
        session.execute(text(way_round))


def test_the_reading_engine_cannot_write(ward: Ward) -> None:
    with ward.reads() as session, pytest.raises(DBAPIError, match=r"readonly|read-only"):
        session.execute(text("DELETE FROM place"))


def test_a_cut_tail_shows_against_the_head(ward: Ward) -> None:
    with ward.services.writes.begin() as session:
        head = session.get_one(LedgerHead, ward.site.id)
        head.number += 1
        cut = head.number
    with ward.reads() as session:
        assert first_break(session, ward.site.id) == cut


def test_a_clock_that_was_set_back_is_noted_and_numbers_go_on(ward: Ward) -> None:
    ward.begin()
    ward.now -= 3 * HOUR
    ward.begin()
    with ward.reads() as session:
        body = session.scalars(
            select(LedgerEvent.body).order_by(LedgerEvent.number.desc()).limit(1)
        ).one()
    assert json.loads(body)["clock_set_back_from"] == "2031-05-06T12:00:00.000000+00:00"


def test_recorded_times_grow_with_the_numbers_whoever_writes(ward: Ward) -> None:
    circuit = ward.begin()
    with ThreadPoolExecutor(8) as pool:
        done = list(
            pool.map(ward.scan, [circuit] * 24, [code(SYRINGE, f"L{n}") for n in range(24)])
        )
    with ward.reads() as session:
        times = session.scalars(select(LedgerEvent.recorded_at).order_by(LedgerEvent.number)).all()
        assert first_break(session, ward.site.id) is None
    assert len({each.first_no for each in done}) == 24
    assert times == sorted(times)


def test_a_question_by_clock_time_becomes_a_ledger_number(ward: Ward) -> None:
    ward.begin()
    ward.now += HOUR
    ward.begin()
    with ward.reads() as session:
        last = session.scalar(select(func.max(LedgerEvent.number)))
        assert last is not None
        asked = [NOON + HOUR * hours for hours in (0.5, 1)]
        assert [number_at(session, ward.site.id, at) for at in asked] == [last - 1, last]


def test_erasing_a_text_leaves_the_chain_whole_and_nothing_to_guess_at(ward: Ward) -> None:
    circuit = ward.prime()
    run = UUID(str(ward.take(circuit).facts["run_id"]))
    number = ward.patient(run, "NSH-100231").last_no
    with ward.services.writes.begin() as session:
        body = json.loads(session.get_one(LedgerEvent, (ward.site.id, number)).body)
        kept_id = UUID(body["kept"])
        assert is_as_recorded(session.get_one(KeptApart, kept_id), body["digest"])
        erase_kept(session, kept_id)
    with ward.reads() as session:
        kept = session.get_one(KeptApart, kept_id)
        assert (kept.text, kept.key, is_as_recorded(kept, body["digest"])) == (None, None, None)
        assert first_break(session, ward.site.id) is None


def test_a_request_id_used_for_another_body_is_refused(ward: Ward) -> None:
    circuit, request = ward.begin(), uuid4()
    ward.scan(circuit, code(TAP, "T1"), sent=ward.sent(request))
    with pytest.raises(RequestIdReused):
        ward.scan(circuit, code(TAP, "T2"), sent=ward.sent(request))


def test_the_same_request_on_many_threads_is_carried_out_once(ward: Ward) -> None:
    circuit, sent, at = ward.begin(), ward.sent(), ward.now
    with ThreadPoolExecutor(8) as pool:
        asked = [
            pool.submit(ward.scan, circuit, code(TAP, "T1"), sent=sent, at=at) for _ in range(16)
        ]
    answers = [done.result() for done in asked]
    assert answers == [answers[0]] * 16
    with ward.reads() as session:
        assert session.scalar(select(func.count()).select_from(Part)) == 1


def test_a_refusal_leaves_nothing_behind(ward: Ward) -> None:
    circuit = ward.prime()
    with ward.reads() as session:
        before = [
            session.scalar(select(func.count()).select_from(t)) for t in (LedgerEvent, Request)
        ]
    with pytest.raises(Refused):
        ward.flow_on(circuit)
    with ward.reads() as session:
        after = [
            session.scalar(select(func.count()).select_from(t)) for t in (LedgerEvent, Request)
        ]
    assert before == after


def test_scans_are_accepted_while_a_long_read_is_open(ward: Ward) -> None:
    circuit = ward.begin()
    with ward.reads() as long_read:
        before = long_read.scalar(select(func.count()).select_from(LedgerEvent))
        for number in range(10):
            ward.scan(circuit, code(SYRINGE, f"L{number}"))
        assert long_read.scalar(select(func.count()).select_from(LedgerEvent)) == before


def test_a_lock_that_is_held_too_long_is_a_refusal_that_says_busy(
    ward: Ward, url: str, tmp_path: Path
) -> None:
    circuit = ward.begin()
    impatient = make_writer(url, lock_timeout_ms=50)
    ward.services.writes.configure(bind=impatient)
    slow = make_writer(url)
    with slow.begin() as holding:
        holding.execute(text("UPDATE ledger_head SET number = number"))
        with pytest.raises(Busy):
            ward.scan(circuit, code(TAP, "T1"))
    slow.dispose()
    assert ward.scan(circuit, code(TAP, "T1")).code == "placed"
    impatient.dispose()


KILLED = """
import os, signal, sys
from pathlib import Path
from uuid import UUID
from tests.make import KEYS, NOON, Ward, code, TAP
from traceability.actions.prime.scan import ScanPart, scan_part
from traceability.actions.once import Sent, Site
from traceability.settings import Settings
from traceability.wiring import wire
url, var, circuit, request, actor = sys.argv[1:]
services = wire(Settings(database_url=url, var_dir=Path(var)), clock=lambda: NOON, keys=KEYS)
sent = Sent(device_id=UUID(int=0xD1), actor_id=UUID(actor), request_id=UUID(request))
asked = ScanPart(sent=sent, circuit_id=UUID(circuit), text=code(TAP, "T77-0B1"), at=NOON)
scan_part(asked, site=services.site)
os.kill(os.getpid(), signal.SIGKILL)
"""


def test_a_server_killed_between_scan_and_answer_loses_and_doubles_nothing(
    ward: Ward, url: str, tmp_path: Path
) -> None:
    circuit, request = ward.begin(), uuid4()
    command = [sys.executable, "-c", KILLED, url, str(tmp_path), str(circuit), str(request)]
    ended = subprocess.run([*command, str(ward.actor)], check=False, timeout=60)
    assert ended.returncode == -9
    again = ward.scan(circuit, code(TAP, "T77-0B1"), sent=ward.sent(request), at=NOON)
    assert again.code == "placed"
    with ward.reads() as session:
        assert session.scalar(select(func.count()).select_from(Part)) == 1


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(),
    lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
)


@given(json_values)
def test_canonical_text_survives_a_round_trip(value: object) -> None:
    assert canonical(json.loads(canonical(value))) == canonical(value)


@pytest.mark.parametrize("value", [1.5, {"volume": 0.1}, datetime(2031, 5, 6), {1, 2}])  # noqa: DTZ001
def test_what_prints_in_more_than_one_way_has_no_canonical_form(value: object) -> None:
    with pytest.raises(TypeError):
        canonical(value)


def test_uuid7_gives_the_published_value() -> None:
    # RFC 9562, appendix A.6 (from memory): 2022-02-22 14:22:22 -05:00 and these random bits
    at = datetime.fromisoformat("2022-02-22T19:22:22+00:00")
    random = {12: 0xCC3, 62: 0x18C4DC0C0C07398F}
    expected = UUID("017f22e2-79b0-7cc3-98c4-dc0c0c07398f")
    assert uuid7(at, bits=lambda count: random[count]) == expected


class AnyDay(RuleBasedStateMachine):
    """Whatever people do, in whatever order."""

    ward: Ward

    def __init__(self) -> None:
        super().__init__()
        self.circuits: list[UUID] = []
        self.runs: list[UUID] = []

    def attempt(self, act: object, *args: object, **options: object) -> object:
        self.ward.now += timedelta(seconds=7)
        try:
            return act(*args, **options)  # type: ignore[operator]
        except Refused:
            return None

    def some(self, of: list[UUID], pick: int) -> UUID:
        return of[pick % len(of)] if of else UUID(int=9)

    @rule()
    def begin(self) -> None:
        self.circuits.append(self.ward.begin())

    @rule()
    def prime(self) -> None:
        self.circuits.append(self.ward.prime())

    @rule(pick=st.integers(0, 9), lot=st.sampled_from(["T1", "T-1", "T2"]))
    def scan(self, pick: int, lot: str) -> None:
        self.attempt(self.ward.scan, self.some(self.circuits, pick), code(TAP, lot))

    @rule(pick=st.integers(0, 9), slot=st.sampled_from(["", "tap-middle", "saline", "nowhere"]))
    def answer(self, pick: int, slot: str) -> None:
        circuit = self.some(self.circuits, pick)
        self.attempt(self.ward.go_on, circuit, reason="by-hand", slot=slot)

    @rule(pick=st.integers(0, 9))
    def undo(self, pick: int) -> None:
        self.attempt(self.ward.undo, self.some(self.circuits, pick))

    @rule(pick=st.integers(0, 9))
    def drop(self, pick: int) -> None:
        self.attempt(self.ward.drop, self.some(self.circuits, pick))

    @rule(pick=st.integers(0, 9))
    def end(self, pick: int) -> None:
        self.attempt(self.ward.end, self.some(self.circuits, pick), lots_not_recorded=True)

    @rule(pick=st.integers(0, 9))
    def take(self, pick: int) -> None:
        if not self.circuits:
            return
        done = self.attempt(self.ward.take, self.some(self.circuits, pick))
        if done is not None:
            self.runs.append(UUID(str(done.facts["run_id"])))  # type: ignore[attr-defined]

    @rule(pick=st.integers(0, 9), minutes=st.integers(-200, 30))
    def flow_on(self, pick: int, minutes: int) -> None:
        at = self.ward.now + timedelta(minutes=minutes)
        circuit = self.some(self.circuits, pick)
        self.attempt(self.ward.flow_on, circuit, at=at, manner=Manner.QUEUED)

    @rule(pick=st.integers(0, 9), minutes=st.integers(-200, 30))
    def flow_off(self, pick: int, minutes: int) -> None:
        at = self.ward.now + timedelta(minutes=minutes)
        circuit = self.some(self.circuits, pick)
        self.attempt(self.ward.flow_off, circuit, at=at, manner=Manner.QUEUED)

    @rule(pick=st.integers(0, 9), slot=st.sampled_from(["tap-middle", "saline", "syringe"]))
    def swap(self, pick: int, slot: str) -> None:
        gtin = {"tap-middle": TAP, "saline": "09521234000020", "syringe": SYRINGE}[slot]
        self.attempt(self.ward.swap, self.some(self.circuits, pick), slot, code(gtin, "NEW"))

    @rule(pick=st.integers(0, 9))
    def discard(self, pick: int) -> None:
        self.attempt(self.ward.discard, self.some(self.circuits, pick))

    @rule(pick=st.integers(0, 9))
    def patient(self, pick: int) -> None:
        self.attempt(self.ward.patient, self.some(self.runs, pick), "NSH-1")

    @rule(pick=st.integers(0, 9))
    def hold(self, pick: int) -> None:
        self.attempt(self.ward.at("consultant").hold, "circuit", self.some(self.circuits, pick))

    @invariant()
    def no_interval_runs_backwards_and_no_circuit_is_in_two_places(self) -> None:
        with self.ward.reads() as session:
            for link in (Part, CircuitPhase, CircuitPlace, CircuitOnRun):
                backwards = select(func.count()).where(link.valid_to < link.valid_from)
                assert session.scalar(backwards) == 0
            for link in (CircuitPhase, CircuitPlace):
                open_rows = (
                    select(link.circuit_id)
                    .where(link.valid_to.is_(None), link.superseded_no.is_(None))
                    .group_by(link.circuit_id)
                    .having(func.count() > 1)
                )
                assert session.scalars(open_rows).all() == []

    def teardown(self) -> None:
        with self.ward.services.writes() as session:
            found = rebuild(session, self.ward.site.id)
            session.rollback()
        assert found.changed == ()
        with self.ward.reads() as session:
            assert first_break(session, self.ward.site.id) is None


def test_whatever_is_done_the_tables_are_what_the_ledger_says(ward: Ward) -> None:
    class ThisWard(AnyDay):
        pass

    ThisWard.ward = ward
    long = os.environ.get("HYPOTHESIS_PROFILE") == "long"
    usual = settings(
        max_examples=60 if long else 5,
        stateful_step_count=24,
        deadline=None,
        suppress_health_check=list(HealthCheck),
    )
    run_state_machine_as_test(ThisWard, settings=usual)


def test_a_rebuild_tells_a_table_that_was_changed_and_mends_it(ward: Ward) -> None:
    ward.prime()
    with ward.services.writes.begin() as session:
        session.execute(text("UPDATE place SET name = 'elsewhere'"))
    with ward.services.writes.begin() as session:
        assert rebuild(session, ward.site.id).changed == ("place",)
    with ward.services.writes() as session:
        assert rebuild(session, ward.site.id).changed == ()
        session.rollback()


def test_two_trolleys_queues_in_any_order_leave_the_same_parts(tmp_path: Path) -> None:
    def parts(order: list[int]) -> list[tuple[str, int, str | None]]:
        with opened_ward(f"sqlite:///{tmp_path / f'{order[0]}.db'}", tmp_path / "var") as ward:
            circuit = ward.begin()
            scans = [
                (code(TAP, "T1"), ward.device, NOON),
                (code(SYRINGE, "S1"), TROLLEY_2, NOON + 5 * SECOND),
                (code("09521234000020", "B1"), TROLLEY_2, NOON + 9 * SECOND),
            ]
            for index in order:
                scan, device, at = scans[index]
                ward.scan(circuit, scan, at=at, sent=replace(ward.sent(), device_id=device))
            now_in = ward.facts(circuit).now_in
            return sorted((part.slot, part.ordinal, part.lot) for part in now_in)

    for name in (0, 2):
        made = wire(Settings(database_url=f"sqlite:///{tmp_path / f'{name}.db'}", var_dir=tmp_path))
        made.create_tables()
        made.close()
    assert parts([0, 1, 2]) == parts([2, 1, 0])


def test_a_digest_of_a_table_sees_every_row(ward: Ward) -> None:
    with ward.reads() as session:
        before = {table.name: table_digest(session, table) for table in projected_tables()}
    ward.begin()
    with ward.reads() as session:
        after = {table.name: table_digest(session, table) for table in projected_tables()}
    changed = {name for name in before if before[name] != after[name]}
    assert changed == {"circuit", "circuit_phase", "circuit_place", "series"}
