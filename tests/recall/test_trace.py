"""A trace agrees with plain reasoning over all rows, on random stories of real acts."""

import shutil
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import UUID

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import select
from sqlalchemy.orm import Session

from tests.make import CANNULA, NOON, OXYGENATOR, TAP, Ward, code, opened_ward
from tests.recall.story import LOTS, Story, fill_ward
from traceability.domain.events import Kind
from traceability.domain.keys import product_key
from traceability.domain.trace import Sort, Sure, Trace
from traceability.errors import Refused
from traceability.recall.subjects import subject_of
from traceability.recall.trace import trace
from traceability.storage.circuits import Circuit, CircuitPlace, Part, Prime
from traceability.storage.equipment import EquipmentUse
from traceability.storage.ledger import LedgerEvent
from traceability.storage.run_extras import RunPart
from traceability.storage.runs import CircuitOnRun, Run, RunPatient

ACTS = 70
EVERYTHING = 10_000


@contextmanager
def told_story(template: Path, seed: int) -> Iterator[Story]:
    """A ward with a story behind it, machines and cannulae among what happened."""
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "story.db"
        shutil.copyfile(template, copy)
        with opened_ward(f"sqlite:///{copy}", Path(folder)) as ward:
            fill_ward(ward)
            story = Story(ward, seed)
            machines = [ward.machine(f"HC-{number}", "heater-cooler") for number in range(2)]
            for _ in range(ACTS):
                story.go()
                with suppress(Refused, IndexError):
                    match story.dice.randrange(8):
                        case 0:
                            run = story.dice.choice(story.runs)
                            ward.equip(run_id=run, equipment_id=story.dice.choice(machines))
                        case 1:
                            circuit = story.dice.choice(story.circuits)
                            ward.equip(circuit_id=circuit, equipment_id=story.dice.choice(machines))
                        case 2:
                            run, lot = (
                                story.dice.choice(story.runs),
                                story.dice.choice(["CN", "CM"]),
                            )
                            ward.part_in(run, code(CANNULA, lot))
                        case _:
                            pass
            yield story


@dataclass
class Rows:
    """Every row there is, as believed at an entry."""

    session: Session
    number: int

    def all(self, table: Any) -> Sequence[Any]:
        rows = self.session.scalars(select(table)).all()
        return [
            row
            for row in rows
            if row.recorded_no <= self.number
            and (row.superseded_no is None or row.superseded_no > self.number)
        ]

    def circuits_with(self, lot_id: UUID) -> set[UUID]:
        return {part.circuit_id for part in self.all(Part) if part.lot_id == lot_id}

    def runs_of(self, circuits: set[UUID]) -> set[UUID]:
        return {link.run_id for link in self.all(CircuitOnRun) if link.circuit_id in circuits}

    def circuits_of(self, runs: set[UUID]) -> set[UUID]:
        return {link.circuit_id for link in self.all(CircuitOnRun) if link.run_id in runs}

    def came_back(self, link: CircuitOnRun) -> bool:
        event = self.session.get_one(LedgerEvent, (link.site_id, link.recorded_no))
        return event.kind == Kind.CAME_BACK_UNUSED and link.flow_from is None

    def sure(self, lot_id: UUID, link: CircuitOnRun) -> Sure:
        """How sure it is that the lot met the run, tried at each moment something changed."""
        primed = {each.circuit_id: each.valid_from for each in self.all(Prime) if not each.valid_to}
        parts = [p for p in self.all(Part) if (p.circuit_id, p.lot_id) == (link.circuit_id, lot_id)]
        if self.came_back(link):
            return Sure.APART
        found = Sure.APART
        # A claim that is disputed, or has no flow on, makes nothing certain.
        is_certain = link.flow_from is not None and not link.disputed
        flow = link.flow_from if is_certain and link.flow_from else link.valid_from
        moments = {flow, *(part.valid_from for part in parts)}
        for part in parts:
            left = primed.get(part.circuit_id) if part.leaves else None
            ends = [each for each in (part.valid_to, left) if each]
            end = min(ends, default=None)
            may_end = left if part.stays and left else None if part.stays else end
            for at in moments:
                if not _in(at, flow, link.valid_to):
                    continue
                if _in(at, part.valid_from, may_end) and found is Sure.APART:
                    found = Sure.POSSIBLE
                known_out = part.leaves and left is None
                certain = is_certain and flow == link.flow_from and not part.disputed
                if certain and not known_out and _in(at, part.valid_from, end):
                    found = Sure.SURE
        return found


def _in(at: datetime, start: datetime, end: datetime | None) -> bool:
    return start <= at and (end is None or at < end)


def ids(found: Trace, sort: Sort) -> set[UUID]:
    return {UUID(node.id) for node in found.listed(sort).nodes}


def looked(session: Session, ward: Ward, sort: Sort, number: int | None, **what: str) -> Trace:
    zone = ward.site.zone
    subject = subject_of(
        session, sort, text=what.get("text", ""), of=what.get("of", ""), zone=zone, as_of_no=number
    )
    assert subject is not None
    return trace(
        session,
        subject,
        zone_name=str(zone),
        as_of_no=number,
        patients=True,
        shown=EVERYTHING,
    )


seen: dict[str, int] = {}


@given(st.integers(0, 10_000))
@settings(max_examples=8)
def test_every_way_agrees_with_all_rows_now_and_as_known_before(
    sqlite_template: Path, seed: int
) -> None:
    with told_story(sqlite_template, seed) as story, story.ward.reads() as session:
        last = session.scalars(select(LedgerEvent.number)).all()[-1]
        for number in (last, last * 2 // 3):
            rows = Rows(session, number)
            _forwards(session, story.ward, rows)
            _backwards(session, story.ward, rows)
            _sideways(session, story.ward, rows)


def _forwards(session: Session, ward: Ward, rows: Rows) -> None:
    tap = product_key("gs1", TAP, site_id=ward.site.id)
    for text in LOTS[:3]:
        found = looked(session, ward, Sort.LOT, rows.number, of=str(tap), text=text)
        circuits = rows.circuits_with(UUID(found.subject.id))
        runs = rows.runs_of(circuits)
        assert ids(found, Sort.CIRCUIT) == circuits
        assert ids(found, Sort.RUN) == runs
        assert found.listed(Sort.CIRCUIT).total == len(circuits)
        assert found.listed(Sort.RUN).total == len(runs)
        _patients(found, rows, runs)
        claims: dict[tuple[str, str], set[Sure]] = {}
        for link in rows.all(CircuitOnRun):
            if link.circuit_id in circuits:
                key = (f"circuit:{link.circuit_id}", f"run:{link.run_id}")
                claims.setdefault(key, set()).add(rows.sure(UUID(found.subject.id), link))
        told: dict[tuple[str, str], set[Sure]] = {}
        for each in found.links:
            if each.source.startswith("circuit:"):
                told.setdefault((each.source, each.target), set()).add(each.sure)
        assert told == claims
        for one in told.values():
            for sure in one:
                seen[sure] = seen.get(sure, 0) + 1
    cannula = product_key("gs1", CANNULA, site_id=ward.site.id)
    found = looked(session, ward, Sort.LOT, rows.number, of=str(cannula), text="CN")
    lying = {each.run_id for each in rows.all(RunPart) if str(each.lot_id) == found.subject.id}
    assert ids(found, Sort.RUN) == lying


def _patients(found: Trace, rows: Rows, runs: set[UUID]) -> None:
    # No story merges references: each is its own patient.
    given = {
        link.patient_id
        for link in rows.all(RunPatient)
        if link.run_id in runs and link.valid_to is None
    }
    assert ids(found, Sort.PATIENT) == given
    assert found.listed(Sort.PATIENT).total == len(given)


def _backwards(session: Session, ward: Ward, rows: Rows) -> None:
    for run in session.scalars(select(Run).where(Run.begun_no <= rows.number)).all()[:6]:
        found = looked(session, ward, Sort.RUN, rows.number, text=run.number)
        circuits = rows.circuits_of({run.id})
        assert ids(found, Sort.CIRCUIT) == circuits
        parts = [part for part in rows.all(Part) if part.circuit_id in circuits]
        parts += [part for part in rows.all(RunPart) if part.run_id in rows.runs_of(circuits)]
        parts += [part for part in rows.all(RunPart) if part.run_id == run.id]
        lots = {p.lot_id for p in parts if p.lot_id and not p.serial}
        assert ids(found, Sort.LOT) == lots
        units = {f"{p.product_id}:{p.serial}" for p in parts if p.serial}
        assert {node.id for node in found.listed(Sort.UNIT).nodes} == units
        runs = {run.id, *rows.runs_of(circuits)}
        machines = {
            use.equipment_id
            for use in rows.all(EquipmentUse)
            if use.circuit_id in circuits or use.run_id in runs
        }
        assert ids(found, Sort.MACHINE) == machines


def _sideways(session: Session, ward: Ward, rows: Rows) -> None:
    stays = rows.all(CircuitPlace)
    for circuit in session.scalars(select(Circuit).where(Circuit.begun_no <= rows.number)).all()[
        :6
    ]:
        found = looked(session, ward, Sort.CIRCUIT, rows.number, text=circuit.number)
        named = {
            each.by + each.through: {UUID(node.id) for node in each.listed.nodes}
            for each in found.sideways
        }
        zone = ward.site.zone
        day = circuit.begun_at.astimezone(zone).date()
        begun = {
            other.id
            for other in session.scalars(select(Circuit))
            if other.begun_at.astimezone(zone).date() == day and other.begun_no <= rows.number
        } - {circuit.id}
        assert named.get(f"day{day}", set()) == begun
        mine = [stay for stay in stays if stay.circuit_id == circuit.id]
        together = {
            other.circuit_id
            for stay in mine
            for other in stays
            if other.place_id == stay.place_id and _meet(stay, other)
        } - {circuit.id}
        by_place = {key for name, keys in named.items() if name.startswith("place") for key in keys}
        assert by_place == together
        uses = rows.all(EquipmentUse)
        on = {use.run_id for use in uses if use.run_id}
        mine_machines = {
            use.equipment_id
            for use in uses
            if use.circuit_id == circuit.id or use.run_id in rows.runs_of({circuit.id})
        }
        served = {
            use.circuit_id for use in uses if use.circuit_id and use.equipment_id in mine_machines
        }
        served |= {
            link.circuit_id
            for link in rows.all(CircuitOnRun)
            for use in uses
            if link.run_id in on
            and use.run_id == link.run_id
            and use.equipment_id in mine_machines
            and _meet(link, use)
        }
        by_machine = {
            key for name, keys in named.items() if name.startswith("machine") for key in keys
        }
        assert by_machine == served - {circuit.id}


def _meet(one: Any, two: Any) -> bool:
    last = min([each for each in (one.valid_to, two.valid_to) if each], default=None)
    return last is None or max(one.valid_from, two.valid_from) < last


@pytest.fixture
def ward(url: str, tmp_path: Path) -> Iterator[Ward]:
    with opened_ward(url, tmp_path) as ward:
        yield ward


def test_a_part_swapped_out_before_flow_on_met_no_patient(ward: Ward) -> None:
    """On both databases: the circuit's run is named, and said to be at no common time."""
    circuit = ward.prime("T-OLD")
    run = UUID(str(ward.take(circuit).facts["run_id"]))
    ward.now += timedelta(minutes=5)
    for slot in ("tap-pump", "tap-middle", "tap-oxygenator"):
        ward.swap(circuit, slot, code(TAP, "T-NEW"))
    ward.now += timedelta(minutes=5)
    ward.flow_on(circuit)
    tap = str(product_key("gs1", TAP, site_id=ward.site.id))
    with ward.reads() as session:
        old = looked(session, ward, Sort.LOT, None, of=tap, text="T-OLD")
        new = looked(session, ward, Sort.LOT, None, of=tap, text="T-NEW")
        piece = looked(session, ward, Sort.CIRCUIT, None, text=ward.number(circuit))
        oxygenator = piece.listed(Sort.UNIT).nodes[0]
        one = looked(session, ward, Sort.UNIT, None, of=oxygenator.of, text=oxygenator.label)
    to_run = {str(each.sure) for each in old.links if each.target == f"run:{run}"}
    assert to_run == {"apart"}
    assert {str(each.sure) for each in new.links if each.target == f"run:{run}"} == {"sure"}
    assert ids(one, Sort.CIRCUIT) == {circuit}
    assert oxygenator.of == str(product_key("gs1", OXYGENATOR, site_id=ward.site.id))


def test_days_find_what_began_ended_went_on_and_lasted_all_through(ward: Ward) -> None:
    """On both databases, with the days counted in the unit's own zone."""
    lasting = ward.prime()
    ward.take(lasting)
    ward.flow_on(lasting)
    ward.now = NOON + timedelta(days=20)
    short = ward.prime("T-2")
    ward.take(short)
    ward.flow_on(short)
    ward.now += timedelta(hours=2)
    ward.flow_off(short)
    ward.now += timedelta(days=20)
    ward.flow_off(lasting)
    begun = ward.begin()
    with ward.reads() as session:
        found = {
            days: ids(looked(session, ward, Sort.SPAN, None, text=days), Sort.CIRCUIT)
            for days in ("2031-05-06", "2031-05-20", "2031-05-26", "2031-06-15", "2031-06-16")
        }
    assert found["2031-05-06"] == {lasting}
    assert found["2031-05-20"] == {lasting}, "it lay on the patient all day, and nothing happened"
    assert found["2031-05-26"] == {lasting, short}
    assert found["2031-06-15"] == {lasting, begun}
    assert found["2031-06-16"] == set(), "a prime that goes on was begun the day before"
