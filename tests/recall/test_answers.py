"""Named cases that a recall must get right, each by real acts, on both databases."""

import csv
import io
from collections.abc import Iterator
from pathlib import Path
from uuid import UUID
from zoneinfo import ZoneInfo

import pytest

from tests.make import (
    HOUR,
    MINUTE,
    OXYGENATOR,
    PACK,
    SALINE,
    SYRINGE,
    TAP,
    UNKNOWN,
    Ward,
    code,
    opened_ward,
)
from tests.recall.story import OTHER_TAP, TIE, fill_ward
from traceability.actions.run.come_back import CameBackUnused, came_back_unused
from traceability.domain.exposure import Shelf
from traceability.domain.keys import product_key
from traceability.domain.spans import Span
from traceability.recall.answer import Answer, CircuitRow, answer
from traceability.recall.answered import MetRow
from traceability.recall.excluded import excluded_rows
from traceability.recall.find import Found, find
from traceability.recall.question import question_of, scope_of, unknown_product
from traceability.recall.shown import all_circuits
from traceability.recall_messages import head_words
from traceability.recall_papers import answer_csv

LOT = "T77-0B1"
ZONE = ZoneInfo("Europe/Stockholm")


@pytest.fixture
def ward(url: str, tmp_path: Path) -> Iterator[Ward]:
    with opened_ward(url, tmp_path) as ward:
        fill_ward(ward)
        yield ward


def _key(gtin: str) -> UUID:
    return product_key("gs1", gtin, site_id=UUID(int=0))


def _ask(
    ward: Ward, gtin: str = TAP, lot: str = LOT, serial: str = "", as_of: int | None = None
) -> Answer:
    lots = [(_key(gtin), lot)] if lot else []
    serials = [(_key(gtin), serial)] if serial else []
    with ward.reads() as session:
        question = question_of(session, [_key(gtin)], lots, serials=serials)
        assert question is not None
        return answer(session, scope_of(question), zone=ward.site.zone, now=ward.now, as_of_no=as_of)


def _find(ward: Ward, text: str, lot: str = "") -> Found:
    with ward.reads() as session:
        return find(session, text, lot, today=ward.now.date())


def _row(told: Answer, circuit: UUID) -> CircuitRow:
    (row,) = (row for row in told.circuits if row.circuit_id == circuit)
    return row


def _met(row: CircuitRow) -> tuple[MetRow, ...]:
    return tuple(met for met in row.met if met.shelf is not Shelf.EXCLUDED)


def _spared(row: CircuitRow) -> tuple[MetRow, ...]:
    return tuple(met for met in row.met if met.shelf is Shelf.EXCLUDED)


def _csv(ward: Ward, told: Answer) -> str:
    with ward.reads() as session:
        return "".join(answer_csv(told, all_circuits(session, told), zone=ZONE, patients={}))


def _excluded(ward: Ward, told: Answer) -> dict[UUID, str]:
    with ward.reads() as session:
        return {row.circuit_id: row.reason for row in excluded_rows(session, told)}


def _used(ward: Ward, circuit: UUID) -> None:
    """Take the circuit, and let blood flow for an hour."""
    ward.now += HOUR
    ward.take(circuit)
    ward.flow_on(circuit)
    ward.now += HOUR
    ward.flow_off(circuit)


def test_a_lot_is_found_wherever_it_is_with_who_met_it_and_when(ward: Ward) -> None:
    boxed, used, other = ward.prime(LOT), ward.prime(LOT), ward.prime("T-OTHER")
    _used(ward, used)
    _used(ward, other)
    told = _ask(ward)
    assert {row.circuit_id for row in told.circuits_on(Shelf.CONFIRMED)} == {boxed, used}
    assert told.circuits_on(Shelf.CANNOT_BE_EXCLUDED) == ()
    assert _excluded(ward, told) == {other: "other_lot"}
    (run,) = _met(_row(told, used))
    assert run.sure == (Span(start=ward.now - 3 * HOUR, end=ward.now - 2 * HOUR),)
    assert _row(told, boxed).met == ()
    assert head_words(told).startswith("2 circuits held this lot.")


def test_a_swap_ends_exposure_and_begins_the_other_lots(ward: Ward) -> None:
    circuit = ward.prime("T-OLD")
    ward.take(circuit)
    ward.flow_on(circuit)
    ward.now += HOUR
    swapped = ward.now
    ward.swap(circuit, "tap-middle", code(TAP, LOT))
    ward.now += HOUR
    (run,) = _met(_row(_ask(ward), circuit))
    assert run.sure == (Span(start=swapped, end=None),)
    for slot in ("tap-pump", "tap-oxygenator"):
        ward.swap(circuit, slot, code(TAP, LOT))
    (run,) = _met(_row(_ask(ward, lot="T-OLD"), circuit))
    assert run.sure[0].end == ward.now


def test_a_part_swapped_in_unread_is_of_nobodys_product(ward: Ward) -> None:
    """The old part's product says nothing about the new one."""
    circuit = ward.prime(LOT)
    ward.take(circuit)
    ward.flow_on(circuit)
    ward.swap(circuit, "tap-pump", "", lot_not_readable=True)
    row = _row(_ask(ward, OTHER_TAP, "X-1"), circuit)
    assert row.reasons == ("maker_not_recorded", "stock_book_incomplete")
    assert _met(row)[0].shelf is Shelf.CANNOT_BE_EXCLUDED


def test_a_dropped_part_was_in_the_circuit_and_met_nobody(ward: Ward) -> None:
    circuit = ward.begin()
    ward.scan(circuit, code(TAP, LOT), slot="tap-pump")
    ward.now += MINUTE
    ward.drop(circuit, "tap-pump")
    ward.fill(circuit, lot="T-NEW")
    ward.end(circuit)
    _used(ward, circuit)
    row = _row(_ask(ward), circuit)
    assert row.shelf is Shelf.CONFIRMED
    assert _met(row) == ()
    assert [run.reasons for run in _spared(row)] == [("dropped_before_use",)]


def test_an_undone_scan_was_never_there(ward: Ward) -> None:
    circuit = ward.begin()
    ward.scan(circuit, code(TAP, LOT), slot="tap-pump")
    ward.undo(circuit)
    ward.fill(circuit, lot="T-NEW")
    ward.end(circuit)
    assert _excluded(ward, _ask(ward)) == {circuit: "other_lot"}


def test_a_spoilt_bag_may_have_given_fluid_before(ward: Ward) -> None:
    circuit = ward.begin()
    ward.scan(circuit, code(SALINE, "S-BAD"))
    ward.now += MINUTE
    ward.drop(circuit, "saline")
    ward.fill(circuit)
    ward.end(circuit)
    _used(ward, circuit)
    (run,) = _met(_row(_ask(ward, SALINE, "S-BAD"), circuit))
    assert (run.shelf, run.reasons) == (Shelf.CANNOT_BE_EXCLUDED, ("time_not_known",))


def test_fluid_stays_whatever_happens_to_its_bag(ward: Ward) -> None:
    circuit = ward.prime(bag="S-88")
    ward.take(circuit)
    ward.flow_on(circuit)
    ward.now += HOUR
    ward.swap(circuit, "saline", code(SALINE, "S-NEW"))
    ward.now += HOUR
    (run,) = _met(_row(_ask(ward, SALINE, "S-88"), circuit))
    assert run.sure == (Span(start=ward.now - 2 * HOUR, end=None),)


def test_what_is_used_in_priming_only_leaves_with_its_end(ward: Ward) -> None:
    circuit = ward.begin()
    ward.fill(circuit)
    ward.now += MINUTE
    ward.end(circuit)
    _used(ward, circuit)
    row = _row(_ask(ward, SYRINGE, "SY0B40"), circuit)
    assert row.shelf is Shelf.CONFIRMED
    assert [run.reasons for run in _spared(row)] == [("used_in_priming",)]


def test_a_circuit_taken_before_its_prime_ended_is_open_for_every_empty_place(ward: Ward) -> None:
    circuit = ward.begin()
    ward.scan(circuit, code(PACK, "PK1"))
    ward.take(circuit)
    row = _row(_ask(ward), circuit)
    assert "prime_not_ended" in row.reasons
    assert _met(row)[0].reasons == ("flow_on_not_recorded", "prime_not_ended")


def test_a_stopped_prime_is_excluded_with_that_as_its_reason(ward: Ward) -> None:
    held, empty = ward.begin(), ward.begin()
    ward.scan(held, code(TAP, LOT), slot="tap-pump")
    for circuit in (held, empty):
        ward.discard(circuit, "prime-stopped")
    told = _ask(ward)
    assert [row.circuit_id for row in told.circuits_on(Shelf.CONFIRMED)] == [held]
    assert _excluded(ward, told) == {empty: "prime_stopped"}


def test_a_circuit_that_came_back_unused_met_nobody(ward: Ward) -> None:
    circuit = ward.prime(LOT)
    ward.take(circuit)
    ward.now += HOUR
    asked = CameBackUnused(
        sent=ward.sent(), circuit_id=circuit, place_id=ward.places["box 3"], at=ward.now
    )
    came_back_unused(asked, site=ward.site)
    row = _row(_ask(ward), circuit)
    assert [run.reasons for run in _spared(row)] == [("came_back_unused",)]


def test_two_claims_on_a_circuit_leave_both_patients_in_the_answer(ward: Ward) -> None:
    circuit = ward.prime(LOT)
    ward.take(circuit)
    ward.flow_on(circuit)
    ward.now += HOUR
    ward.take(circuit)
    first, second = _met(_row(_ask(ward), circuit))
    assert first.shelf is Shelf.CONFIRMED
    assert second.reasons == ("claim_disputed", "flow_on_not_recorded")
    ward.flow_on(circuit, run_id=second.run_id)
    _, second = _met(_row(_ask(ward), circuit))
    assert second.reasons == ("claim_disputed",)


def test_a_disputed_part_leaves_its_circuit_open_for_other_lots_too(ward: Ward) -> None:
    one, two = ward.begin(), ward.begin()
    for circuit in (one, two):
        ward.scan(circuit, code(OXYGENATOR, "OX-A", serial="S1"))
    ward.go_on(two, reason="other")
    told = _ask(ward, OXYGENATOR, "OX-B")
    assert "claim_disputed" in _row(told, two).reasons
    sure = _ask(ward, OXYGENATOR, "OX-A").circuits_on(Shelf.CONFIRMED)
    assert [row.circuit_id for row in sure] == [one]


def test_ticked_parts_and_what_is_inside_a_pack_are_never_excluded(ward: Ward) -> None:
    circuit = ward.prime(LOT)
    told = _ask(ward, TIE, "TI-1")
    assert _row(told, circuit).reasons == ("maker_not_recorded", "stock_book_incomplete")
    ward.product("09521234000129", "Line", "line")
    inside = _row(_ask(ward, "09521234000129", "LI-1"), circuit)
    assert inside.reasons == ("inner_lot_not_known",)


def test_a_gap_is_found_also_after_the_products_kind_was_mended(ward: Ward) -> None:
    circuit = ward.begin()
    ward.scan(circuit, code(OTHER_TAP, serial="Q1"), slot="tap-pump")
    ward.at("stock").product(
        OTHER_TAP, "Tap with a long name", "connector", maker="Mellowick Perfusion"
    )
    assert "stock_book_incomplete" in _row(_ask(ward, OTHER_TAP, "X-1"), circuit).reasons


def test_lots_alike_wait_for_a_person_under_one_product_only(ward: Ward) -> None:
    alike = ward.prime("T77-OB1")
    other = ward.begin()
    for slot in ("tap-pump", "tap-middle", "tap-oxygenator"):
        ward.scan(other, code(OTHER_TAP, LOT), slot=slot)
    told = _ask(ward)
    assert _row(told, alike).reasons == ("lot_text_alike",)
    assert _excluded(ward, told) == {other: "other_lot"}


def test_a_piece_is_asked_for_by_its_serial(ward: Ward) -> None:
    held, other, unread = ward.begin(), ward.begin(), ward.begin()
    ward.scan(held, code(OXYGENATOR, serial="SN-0417"))
    ward.scan(other, code(OXYGENATOR, serial="SN-9"))
    ward.scan(unread, code(PACK, "PK1"))
    told = _ask(ward, OXYGENATOR, "", serial="SN-0417")
    assert [row.circuit_id for row in told.circuits_on(Shelf.CONFIRMED)] == [held]
    assert "inner_lot_not_known" in _row(told, unread).reasons
    assert _excluded(ward, told) == {other: "other_lot"}


def test_nothing_confirmed_is_never_said_as_none_while_something_is_open(ward: Ward) -> None:
    foreign = ward.foreign()
    told = _ask(ward, lot="NEVER-SEEN")
    assert head_words(told) == "None confirmed. 1 cannot be excluded."
    assert _row(told, foreign).reasons == ("contents_unknown",)


def test_a_code_that_is_not_known_here_may_be_any_unread_part(ward: Ward) -> None:
    circuit = ward.prime(LOT)
    found = _find(ward, code(UNKNOWN, LOT))
    assert found.exact is None
    assert [lot.product.known for lot in (*found.lots, *found.look_alikes)] == [False, True]
    with ward.reads() as session:
        unknown = unknown_product(session, "gs1", UNKNOWN)
        question = question_of(session, [], [(unknown.id, LOT)], unknown=[unknown])
        assert question is not None
        told = answer(session, scope_of(question), zone=ward.site.zone, now=ward.now)
    assert "maker_not_recorded" in _row(told, circuit).reasons  # the ticked ties


def test_an_answer_of_before_is_given_again_to_the_letter(ward: Ward) -> None:
    circuit = ward.prime(LOT)
    before = _ask(ward)
    _used(ward, circuit)
    ward.prime(LOT)
    ward.at("stock").product(TAP, "Renamed", "connector")
    again = _ask(ward, as_of=before.cut.number)
    assert again.known_at == before.cut.recorded_at
    assert (again.circuits, again.patients) == (before.circuits, before.patients)
    assert (again.excluded, again.coverage) == (before.excluded, before.coverage)


@pytest.mark.parametrize(
    ("text", "lot", "wanted"),
    [
        (code(TAP, LOT), "", LOT),
        ("three-way", LOT, LOT),
        ("Oskerby", "NEVER-SEEN", "NEVER-SEEN"),
        ("", LOT, LOT),
        (LOT, "", LOT),
    ],
)
def test_what_leaves_no_choice_is_answered_at_once(
    ward: Ward, text: str, lot: str, wanted: str
) -> None:
    ward.prime(LOT)
    if text == "Oskerby":
        text = TAP
    found = _find(ward, text, lot)
    assert found.exact is not None
    assert [each.text for each in found.exact.lots] == [wanted]


def test_parts_of_names_and_lots_are_offered(ward: Ward) -> None:
    ward.prime(LOT)
    ward.prime("T77-OB1")
    assert {lot.text for lot in _find(ward, "t77").lots} == {LOT, "T77-OB1"}
    assert _find(ward, "t77").exact is None
    assert {product.kind for product in _find(ward, "mellowick").products} == {"tap", "oxygenator"}
    assert [lot.text for lot in _find(ward, LOT).look_alikes] == ["T77-OB1"]
    assert _find(ward, "100%_").lots == ()


@pytest.mark.parametrize("glued", ["17330331", "21S1"])
def test_a_lot_that_may_have_swallowed_the_next_field_is_not_believed(
    ward: Ward, glued: str
) -> None:
    """A scanner that drops separators; the second case breaks no rule of the standard."""
    ward.prime(LOT)
    found = _find(ward, f"01{TAP}10{LOT}{glued}")
    assert found.exact is None or found.look_alikes
    assert LOT in {lot.text for lot in (*found.lots, *found.look_alikes)}


def test_the_table_is_exact_and_carries_its_coverage_without_rows_too(ward: Ward) -> None:
    odd = 'T"7,1'
    used = ward.prime(odd)
    _used(ward, used)
    told = _ask(ward, lot=odd)
    text = _csv(ward, told)
    assert text.count("\r\n") == text.count("\n") == 2
    (line,) = csv.DictReader(io.StringIO(text, newline=""))
    assert odd in line["question"]
    assert line["digest"] == told.digest
    (run,) = _met(told.circuits_on(Shelf.CONFIRMED)[0])
    start = run.sure[0].start
    assert line["exposed_sure"].startswith(f"{start:%Y-%m-%dT%H:%M:%S}Z/")
    nothing = _csv(ward, _ask(ward, lot="NEVER"))
    (line,) = csv.DictReader(io.StringIO(nothing, newline=""))
    assert (line["circuits_looked_at"], line["complete"], line["shelf"]) == ("1", "1", "")
