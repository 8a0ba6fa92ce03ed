"""Recalls find what met a patient outside a circuit: cannulae, machines; and additives inside one.

Source of the rules: common practice, no source; settled in review with people of the trade.
"""

import csv
import io
from collections.abc import Iterator
from pathlib import Path
from uuid import UUID

import pytest

from tests.make import (
    ALBUMIN,
    CANNULA,
    HEATER,
    HOUR,
    RED_CELLS,
    SALINE,
    TAP,
    Ward,
    code,
    opened_ward,
)
from tests.recall.asking import asked, beside, confirmed, may_be
from traceability.domain.exposure import Shelf
from traceability.domain.keys import product_key
from traceability.domain.moments import Manner
from traceability.domain.spans import Span
from traceability.recall.answer import Answer
from traceability.recall.shown import all_circuits
from traceability.recall_messages import head_words
from traceability.recall_papers import answer_csv, answer_sheet


@pytest.fixture
def ward(url: str, tmp_path: Path) -> Iterator[Ward]:
    with opened_ward(url, tmp_path / "var") as ward:
        yield ward


def on_patient(ward: Ward, **prime: str) -> tuple[UUID, UUID]:
    circuit = ward.prime(**prime)
    run = UUID(str(ward.take(circuit).facts["run_id"]))
    ward.flow_on(circuit)
    ward.now += HOUR
    return circuit, run


def shelves(found: Answer) -> list[tuple[tuple[str, ...], str, tuple[str, ...]]]:
    return [(row.runs, str(row.shelf), row.reasons) for row in beside(found)]


def of_parts(found: Answer) -> list[tuple[str, ...]]:
    return sorted(part.reasons for row in beside(found) for part in row.parts)


def test_a_cannula_of_the_lot_is_confirmed_for_its_run_in_its_own_time(ward: Ward) -> None:
    _, run = on_patient(ward)
    before = ward.now - 3 * HOUR
    ward.part_in(run, code(CANNULA, "CN-1", serial="S1"), at=before)
    done = ward.part_in(run, code(CANNULA, "CN-1", serial="S2"))
    ward.now += HOUR
    ward.part_out(run, done.subject)
    ward.part_in(run, code(CANNULA, "CN-2", serial="S3"))
    found = asked(ward, CANNULA, "CN-1")
    [row] = beside(found)
    assert (row.runs, row.shelf, row.reasons) == (("R-0001",), Shelf.CONFIRMED, ())
    assert {(part.serial, part.start, part.end) for part in row.parts} == {
        ("S1", before, None),
        ("S2", ward.now - HOUR, ward.now),
    }
    assert row.sure == row.possible == (Span(start=before, end=None),)
    assert head_words(found).startswith("1 patient met this lot outside a circuit.")
    assert not found.circuits
    [later] = beside(asked(ward, CANNULA, "CN-2"))
    assert later.sure == (Span(start=ward.now, end=None),)


def test_a_cannula_whose_removal_nobody_recorded_is_possible_after_the_run(ward: Ward) -> None:
    _, run = on_patient(ward)
    went_in = ward.now
    ward.part_in(run, code(CANNULA, "CN-1"))
    ward.now += HOUR
    ward.end_run(run)
    over = ward.now
    ward.now += 5 * HOUR
    [row] = beside(asked(ward, CANNULA, "CN-1"))
    assert row.sure == (Span(start=went_in, end=over),)
    assert row.possible == (Span(start=went_in, end=None),)
    # Put on record as having gone in after the last circuit came off: possible, never certain.
    ward.part_in(run, code(CANNULA, "CN-2"), manner=Manner.EMERGENCY)
    [late] = beside(asked(ward, CANNULA, "CN-2"))
    assert (late.shelf, late.reasons) == (Shelf.CANNOT_BE_EXCLUDED, ("time_not_known",))
    assert late.possible == (Span(start=ward.now, end=None),)


def test_gaps_and_look_alikes_and_disputes_are_never_left_out(ward: Ward) -> None:
    _, run = on_patient(ward)
    _, other = on_patient(ward)
    ward.part_in(run, what="cannula", lot_not_readable=True)
    ward.part_in(run, code(CANNULA))
    ward.part_in(run, code(CANNULA, "CN-I"))
    ward.part_in(run, code(CANNULA, "CN-9", serial="S1"))
    ward.part_in(other, code(CANNULA, "CN-9", serial="S1"), manner=Manner.EMERGENCY)
    ward.part_in(other, "nobody can read this", manner=Manner.EMERGENCY)
    found = asked(ward, CANNULA, "CN-1")
    no_lot, nobodys = ("stock_book_incomplete",), ("maker_not_recorded", "stock_book_incomplete")
    assert of_parts(found) == [
        ("claim_disputed",),
        ("lot_text_alike",),
        nobodys,
        nobodys,
        no_lot,
    ]
    assert {runs: reasons for runs, _, reasons in shelves(found)} == {
        ("R-0001",): ("lot_text_alike", *nobodys),
        ("R-0002",): ("claim_disputed", *nobodys),
    }
    assert "cannot be excluded" in head_words(asked(ward, CANNULA, "CN-1"))
    # A guide wire is no cannula: another kind without a lot says nothing about it.
    assert of_parts(asked(ward, TAP, "T77-0B1")) == [nobodys]


def test_an_answer_as_of_an_earlier_entry_is_the_same_for_ever(ward: Ward) -> None:
    _, run = on_patient(ward)
    done = ward.part_in(run, code(CANNULA, "CN-1"))
    first = asked(ward, CANNULA, "CN-1")
    ward.now += HOUR
    ward.part_out(run, done.subject)
    ward.end_run(run)
    again = asked(ward, CANNULA, "CN-1", as_of_no=first.cut.number)
    assert again.digest == first.digest
    assert asked(ward, CANNULA, "CN-1").digest != first.digest


def test_a_piece_added_at_the_bedside_and_an_additive_are_found_like_any_part(ward: Ward) -> None:
    circuit, _ = on_patient(ward)
    ward.add_part(circuit, code(TAP, "ADDED"))
    ward.give(circuit, text=code(ALBUMIN, "AL-1"), dose="100", unit="ml")
    for gtin, lot in ((TAP, "ADDED"), (ALBUMIN, "AL-1")):
        [row] = confirmed(asked(ward, gtin, lot))
        assert row.circuit_id == circuit
        assert row.met[0].sure == (Span(start=ward.now, end=None),)


def test_an_additive_without_a_code_may_be_any_fluid_but_is_no_tap(ward: Ward) -> None:
    circuit, _ = on_patient(ward)
    ward.give(circuit, name="Albumin 5 %")
    reasons = ("maker_not_recorded", "stock_book_incomplete")
    for gtin in (SALINE, ALBUMIN):
        [row] = may_be(asked(ward, gtin, "OTHER"))
        assert (row.circuit_id, row.reasons) == (circuit, reasons)
        assert [part.kind for part in row.parts] == ["additive"]
    assert asked(ward, TAP, "OTHER").circuits == ()


def test_blood_given_later_does_not_make_a_swapped_part_one_that_was_dropped(ward: Ward) -> None:
    circuit = ward.prime()
    ward.now += HOUR
    ward.take(circuit)
    ward.swap(circuit, "tap-middle", code(TAP, "NEW"))
    ward.now += HOUR
    ward.give(circuit, text=code(RED_CELLS, "RC-1"))
    ward.flow_on(circuit)
    [row] = confirmed(asked(ward, TAP, "NEW"))
    assert not any(part.dropped for part in row.parts)
    out = next(part for part in ward.facts(circuit).parts if part.until is not None)
    assert out.lot == "T77-0B1"
    [old] = confirmed(asked(ward, TAP, "T77-0B1"))
    swapped = next(part for part in old.parts if part.end is not None)
    assert not swapped.dropped


def test_a_machine_of_the_product_is_confirmed_and_one_without_a_serial_is_not(ward: Ward) -> None:
    circuit, run = on_patient(ward)
    _, other = on_patient(ward)
    heater = product_key("gs1", HEATER, site_id=ward.site.id)
    one = ward.machine("HC-1", product_id=heater)
    ward.equip(run_id=run, equipment_id=one)
    ward.equip(run_id=other, what="heater-cooler")
    ward.equip(circuit_id=circuit, text=code(HEATER, serial="HC-2"))
    found = asked(ward, HEATER, serial="HC-1")
    assert sorted(shelves(found)) == [
        (("R-0001",), "confirmed", ()),
        (("R-0002",), "cannot_be_excluded", ("maker_not_recorded", "serial_not_recorded")),
    ]
    assert found.circuits == ()
    whole = asked(ward, HEATER)
    [on_circuit] = confirmed(whole)
    assert (on_circuit.circuit_id, on_circuit.parts[0].serial) == (circuit, "HC-2")
    assert on_circuit.met[0].sure == (Span(start=ward.now, end=None),)
    assert [runs for runs, shelf, _ in shelves(whole) if shelf == "confirmed"] == [("R-0001",)]
    assert len(whole.patients) == 2


def test_no_heater_cooler_used_is_no_heater_cooler(ward: Ward) -> None:
    _, run = on_patient(ward)
    ward.equip(run_id=run, what="heater-cooler", none_used=True)
    assert asked(ward, HEATER).patients == ()


def test_table_and_paper_name_the_run(ward: Ward) -> None:
    _, run = on_patient(ward)
    ward.part_in(run, code(CANNULA, "CN-1"), body_site="left femoral artery")
    found = asked(ward, CANNULA, "CN-1")
    zone = ward.site.zone
    with ward.reads() as session:
        circuits = all_circuits(session, found)
        table = "".join(answer_csv(found, circuits, zone=zone, patients={run: "P-1"}))
    [line] = csv.DictReader(io.StringIO(table))
    assert (line["circuit"], line["run"], line["patient"]) == ("not in a circuit", "R-0001", "P-1")
    assert line["exposed_sure"].endswith("/..")
    sheet = answer_sheet(found, unit="ICU 2", zone=zone, seen={}, patients={run: "P-1"}, places={})
    [row] = sheet.sections[0].rows
    assert (sheet.sections[0].count, row.circuit, row.run, row.patient) == (1, "–", "R-0001", "P-1")
    assert "lot CN-1" in row.why
    assert "left femoral artery" in row.why
