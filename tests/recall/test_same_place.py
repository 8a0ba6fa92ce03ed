"""A heater-cooler concerns the air of the room; and machines, merged patients and their times.

Source: design rules on same-place exposure; common practice, no source.
"""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from uuid import UUID

import pytest

from tests.make import CANNULA, HOUR, TAP, Ward, code, opened_ward
from tests.recall.asking import asked, confirmed, told
from traceability.actions.corrections.merge import MergePatients, merge_patients
from traceability.actions.lists.site import SetPlace, set_place
from traceability.domain.exposure import Shelf
from traceability.domain.notice_scope import ProductRef, Said, Scope, ScopeClause, ScopeTest
from traceability.domain.spans import Span
from traceability.recall.answered import PatientRow

HEATERS = ProductRef(kind="heater-cooler", maker="Mellowick Perfusion", item_number="Warm 4")
OTHER_BED = UUID(int=0xBF)


@pytest.fixture
def ward(url: str, tmp_path: Path) -> Iterator[Ward]:
    with opened_ward(url, tmp_path / "var") as ward:
        place = SetPlace(
            sent=ward.at("administrator").sent(),
            place_id=OTHER_BED,
            code="BED-9",
            name="bed 9",
            place_kind="bed",
        )
        set_place(place, site=ward.site)
        ward.places["bed 9"] = OTHER_BED
        yield ward


def _connected(ward: Ward, bed: str, lot: str = "T77-0B1") -> tuple[UUID, UUID]:
    circuit = ward.prime(lot=lot)
    run = UUID(str(ward.take(circuit).facts["run_id"]))
    ward.flow_on(circuit, place_id=ward.places[bed])
    return circuit, run


def _rows(ward: Ward, *serials: str, as_of_no: int | None = None) -> dict[str, PatientRow]:
    tests = (ScopeTest(kind=Said.SERIALS, texts=serials),) if serials else ()
    scope = Scope(clauses=(ScopeClause(products=(HEATERS,), tests=tests),))
    found = told(ward, scope, as_of_no)
    assert found.circuits == ()
    return {run: row for row in found.patients for run in row.runs}


def test_whoever_was_connected_beside_a_heater_cooler_cannot_be_excluded(ward: Ward) -> None:
    heater, elsewhere = ward.machine("HC-9"), ward.machine("HC-10")
    ward.move_machine(heater, "bed 4")
    ward.move_machine(elsewhere, "bed 9")
    _, served = _connected(ward, "bed 9")
    beside, _ = _connected(ward, "bed 4")
    began = ward.now
    ward.equip(run_id=served, equipment_id=heater)
    ward.now += HOUR
    rows = _rows(ward, "HC-9")
    assert rows.keys() == {"R-0001", "R-0002"}
    assert rows["R-0001"].shelf is Shelf.CONFIRMED
    near = rows["R-0002"]
    assert (near.shelf, near.reasons) == (Shelf.CANNOT_BE_EXCLUDED, ("same_place",))
    assert near.possible == (Span(start=began, end=None),)
    assert [(part.serial, part.body_site) for part in near.parts] == [("HC-9", "bed 4")]
    # It leaves the bed space: only until then, and whoever comes later was never beside it.
    ward.move_machine(heater, "box 3")
    left = ward.now
    ward.now += HOUR
    ward.flow_off(beside)
    ward.discard(beside)
    _connected(ward, "bed 4")
    rows = _rows(ward, "HC-9")
    assert rows.keys() == {"R-0001", "R-0002"}
    assert rows["R-0002"].possible == (Span(start=began, end=left),)
    # Asked by its kind alone, both machines are meant.
    assert {run: row.reasons for run, row in _rows(ward).items()} == {
        "R-0001": (),
        "R-0002": ("same_place",),
    }
    assert _rows(ward, "HC-77") == {}


def test_a_machine_serves_while_it_was_on_and_its_number_in_the_register_decides(
    ward: Ward,
) -> None:
    one = ward.machine("HC-1")
    other = ward.machine("OT-1", maker="Oskerby Devices")
    circuit, run = _connected(ward, "bed 4")
    _, second = _connected(ward, "bed 9")
    use = ward.equip(run_id=run, equipment_id=one)
    ward.equip(run_id=second, equipment_id=other)
    began = ward.now
    ward.now += 2 * HOUR
    ward.unequip(use.subject)
    ended = ward.now
    ward.now += HOUR
    rows = _rows(ward)
    assert rows.keys() == {"R-0001"}
    assert rows["R-0001"].sure == (Span(start=began, end=ended),)
    # On the circuit instead of the run: the circuit is named, and with it who was on it.
    ward.equip(circuit_id=circuit, equipment_id=one)
    found = told(ward, Scope(clauses=(ScopeClause(products=(HEATERS,)),)))
    (row,) = confirmed(found)
    assert row.circuit_id == circuit
    assert row.met[0].sure == (Span(start=ward.now, end=None),)
    (patient,) = found.patients
    assert patient.sure == (Span(start=began, end=ended), Span(start=ward.now, end=None))


def test_a_heater_cooler_without_a_serial_is_the_only_one_that_was_not_in_use(ward: Ward) -> None:
    ward.machine("HC-1")
    two = ward.machine("HC-2")
    _, first = _connected(ward, "bed 4")
    _, second = _connected(ward, "bed 9")
    ward.equip(run_id=first, equipment_id=two)
    ward.equip(run_id=second, what="heater-cooler")
    rows = _rows(ward, "HC-1")
    assert rows.keys() == {"R-0002"}
    assert (rows["R-0002"].shelf, rows["R-0002"].reasons) == (Shelf.INFERRED, ())
    assert _rows(ward, "HC-2")["R-0001"].shelf is Shelf.CONFIRMED
    # One more machine that was free, of whatever maker: now it is one of two.
    ward.machine("OT-1", maker="Oskerby Devices")
    row = _rows(ward, "HC-1")["R-0002"]
    assert row.shelf is Shelf.CANNOT_BE_EXCLUDED
    assert row.reasons == ("maker_not_recorded", "serial_not_recorded")


def test_merged_patients_are_one_row_with_all_their_times_and_two_as_known_before(
    ward: Ward,
) -> None:
    lot = "T-LOT"
    circuit, first = _connected(ward, "bed 4", lot)
    ward.patient(first)
    began = ward.now
    ward.now += HOUR
    ward.flow_off(circuit)
    ended = ward.now
    ward.now += HOUR
    _, second = _connected(ward, "bed 9", lot)
    ward.patient(second, "SOUND-2207")
    again = ward.now
    two = asked(ward, TAP, lot)
    assert sorted(row.runs for row in two.patients) == [("R-0001",), ("R-0002",)]
    one = ward.at("bedside")
    merge_patients(
        MergePatients(sent=one.sent(), run_id=first, other_number="R-0002", at=one.now),
        site=one.site,
    )
    merged = asked(ward, TAP, lot)
    (row,) = merged.patients
    assert (row.runs, len(row.circuit_ids)) == (("R-0001", "R-0002"), 2)
    assert row.sure == (Span(start=began, end=ended), Span(start=again, end=None))
    assert (row.going_on, merged.runs_excluded) == (True, 0)
    before = asked(ward, TAP, lot, as_of_no=two.cut.number)
    assert replace(before, asked_at=two.asked_at, cut=two.cut) == two


def test_a_cannula_and_a_circuit_of_one_patient_are_told_in_one_row(ward: Ward) -> None:
    circuit, run = _connected(ward, "bed 4")
    ward.part_in(run, code(CANNULA, "CN-1"))
    found = asked(ward, CANNULA, "CN-1")
    (row,) = found.patients
    assert (row.shelf, row.runs) == (Shelf.CONFIRMED, ("R-0001",))
    assert found.circuits == ()
    assert circuit in asked(ward, TAP, "T77-0B1").patients[0].circuit_ids
