"""A lot followed through real stores, the choice of lots, and the list to mend.

Source of the rule: common practice, no source.
"""

from datetime import timedelta
from uuid import UUID

import pytest
from sqlalchemy import event, select

from tests.make import CANNULA, HOUR, OXYGENATOR, SALINE, TAP, Ward, code
from tests.stock_acts import Shelves
from traceability.domain.drills.reconcile import Code, Reconciled, Whereabouts, reconcile, split
from traceability.domain.keys import lot_key, product_key
from traceability.drill_messages import mend_lines
from traceability.reads.drills import ToMend, draw, pick
from traceability.reads.lot_record import lot_record
from traceability.storage.runs import CircuitOnRun

LOT = "T77-0B1"


def key_of(ward: Ward, gtin: str, lot: str) -> UUID:
    return lot_key(product_key("gs1", gtin, site_id=ward.site.id), lot)


def followed(ward: Ward, gtin: str = TAP, lot: str = LOT) -> Reconciled:
    with ward.reads() as session:
        record = lot_record(session, ward.site.id, key_of(ward, gtin, lot))
    assert record is not None
    return reconcile(split(record)[0], ward.now)


def classes(found: Reconciled) -> dict[Whereabouts, int]:
    return {where: units for where, units in found.where.items() if units}


def codes(found: Reconciled) -> set[Code]:
    return {point.code for point in found.points}


@pytest.fixture
def shelves(ward: Ward) -> Shelves:
    made = Shelves(ward)
    made.receive(code(TAP, LOT), packs=12)
    ward.now += HOUR
    return made


def test_a_lot_is_followed_from_the_shelf_through_a_run_to_its_end(
    ward: Ward, shelves: Shelves
) -> None:
    assert classes(followed(ward)) == {Whereabouts.SHELF: 12}
    circuit = ward.prime(LOT)
    assert classes(followed(ward)) == {Whereabouts.SHELF: 9, Whereabouts.STANDING: 3}
    ward.now += HOUR
    run = taken(ward, circuit)
    assert Code.PATIENT in codes(followed(ward))
    ward.at("bedside").patient(run, "19310506-TEST")
    ward.flow_on(circuit)
    assert classes(followed(ward)) == {Whereabouts.SHELF: 9, Whereabouts.ON_PATIENT: 3}
    ward.now += HOUR
    ward.flow_off(circuit)
    ward.end_run(run)
    shelves.out(TAP, LOT, 2, "trolley 1")
    found = followed(ward)
    assert classes(found) == {
        Whereabouts.SHELF: 7,
        Whereabouts.USED: 3,
        Whereabouts.TAKEN_OUT: 2,
    }
    assert (found.units, found.reconciled, found.points) == (12, 12, ())


def taken(ward: Ward, circuit: UUID) -> UUID:
    ward.take(circuit)
    with ward.reads() as session:
        rows = select(CircuitOnRun.run_id).where(CircuitOnRun.circuit_id == circuit)
        return session.scalars(rows).one()


def test_what_a_count_does_not_find_is_not_accounted_for_until_it_is_taken_out(
    ward: Ward, shelves: Shelves
) -> None:
    shelves.count(TAP, (LOT, "trolley 1", 10))
    found = followed(ward)
    assert (found.units, found.reconciled) == (12, 10)
    assert codes(found) == {Code.NOT_ACCOUNTED}
    assert found.counted_at == ward.now


def test_what_the_first_count_finds_stands_for_a_receipt_and_a_later_find_does_not(
    ward: Ward,
) -> None:
    shelves = Shelves(ward)
    shelves.count(TAP, (LOT, "trolley 1", 9))
    ward.now += HOUR
    ward.prime(LOT)
    found = followed(ward)
    assert (found.units, found.points) == (9, ())
    ward.now += timedelta(days=3)
    shelves.count(TAP, (LOT, "trolley 1", 8))
    found = followed(ward)
    assert (found.units, found.reconciled) == (11, 9)
    assert codes(found) == {Code.SHELF_NOT_RECEIVED}


def test_dropped_swapped_discarded_and_taken_back_pieces(ward: Ward, shelves: Shelves) -> None:
    circuit = ward.begin()
    ward.scan(circuit, code(TAP, LOT))
    ward.drop(circuit)
    ward.scan(circuit, code(TAP, LOT))
    ward.undo(circuit)
    assert classes(followed(ward)) == {Whereabouts.SHELF: 11, Whereabouts.BEFORE_USE: 1}
    other = ward.prime(LOT)
    ward.discard(other, "seal-broken")
    assert classes(followed(ward)) == {Whereabouts.SHELF: 8, Whereabouts.BEFORE_USE: 4}
    assert followed(ward).points == ()


def test_a_piece_swapped_in_comes_off_the_shelf_and_the_old_one_is_used(
    ward: Ward, shelves: Shelves
) -> None:
    shelves.receive(code(TAP, "T78-0C2"), packs=2)
    circuit = ward.prime(LOT)
    run = taken(ward, circuit)
    ward.at("bedside").patient(run, "19310506-TEST")
    ward.flow_on(circuit)
    ward.now += HOUR
    ward.swap(circuit, "tap-middle", code(TAP, "T78-0C2"))
    assert classes(followed(ward)) == {
        Whereabouts.SHELF: 9,
        Whereabouts.ON_PATIENT: 2,
        Whereabouts.USED: 1,
    }
    assert classes(followed(ward, TAP, "T78-0C2")) == {
        Whereabouts.SHELF: 1,
        Whereabouts.ON_PATIENT: 1,
    }


def test_what_was_used_and_never_booked_in_is_on_the_list_with_its_page(ward: Ward) -> None:
    Shelves(ward).receive(code(TAP, "T76-0A9"))  # the book begins
    ward.now += HOUR
    circuit = ward.prime(LOT)
    found = followed(ward)
    assert (found.units, found.reconciled) == (3, 0)
    assert codes(found) == {Code.NOT_RECEIVED}
    tap = product_key("gs1", TAP, site_id=ward.site.id)
    [line] = mend_lines(
        ToMend(product_id=tap, product="Tap", lot=LOT, point=point) for point in found.points
    )
    assert (line.units, line.about) == (3, ward.number(circuit))
    assert line.page == f"/stock/{tap}"


def test_what_comes_inside_a_pack_needs_no_receipt(ward: Ward) -> None:
    ward.prime()
    found = followed(ward, OXYGENATOR, "3F0117")
    assert (found.units, found.points) == (1, ())


def test_ward_stock_is_followed_from_use_to_end_only(ward: Ward) -> None:
    ward.at("stock").product(
        SALINE, "Sodium chloride", "fluid", substance="Sodium chloride 0.9 %", counted=False
    )
    ward.prime(bag="4K0O17I1")
    found = followed(ward, SALINE, "4K0O17I1")
    assert (found.whole, found.units, found.reconciled) == (False, 2, 2)


def test_a_cannula_is_on_the_patient_until_it_is_out(ward: Ward) -> None:
    run = taken(ward, ward.prime(LOT))
    Shelves(ward).receive(code(CANNULA, "CN-1"))
    ward.at("bedside").patient(run, "19310506-TEST")
    ward.now += HOUR
    ward.at("bedside").part_in(run, code(CANNULA, "CN-1"), body_site="right femoral vein")
    # The book takes nothing off for what goes into a patient: a count says so.
    assert codes(followed(ward, CANNULA, "CN-1")) == {Code.SHELF_NOT_RECEIVED}
    Shelves(ward).count(CANNULA, ("CN-1", "trolley 1", 0))
    assert classes(followed(ward, CANNULA, "CN-1")) == {Whereabouts.ON_PATIENT: 1}
    ward.now += HOUR
    ward.end_run(run)
    assert codes(followed(ward, CANNULA, "CN-1")) == {Code.FLOW_OFF}


def test_only_the_lots_own_rows_are_read(ward: Ward, shelves: Shelves) -> None:
    """Followed alone or in a store with five times as many circuits: the same questions."""
    asked: list[str] = []
    engine = ward.services.reader

    def _keep(_c: object, _cursor: object, statement: str, *_: object) -> None:
        asked.append(statement)

    circuit = ward.prime(LOT)
    ward.take(circuit)
    event.listen(engine, "before_cursor_execute", _keep)
    try:
        followed(ward)
        first = len(asked)
        for number in range(5):
            ward.prime(f"OTHER-{number}")
        asked.clear()
        followed(ward)
    finally:
        event.remove(engine, "before_cursor_execute", _keep)
    assert len(asked) == first <= 20


def test_lots_with_entries_of_late_come_first_and_a_choice_can_be_repeated(ward: Ward) -> None:
    ward.prime("OLD-1", bag="OLD-BAG")
    ward.now += timedelta(days=500)
    Shelves(ward).receive(code(TAP, "NEW-1"))
    Shelves(ward).receive(code(TAP, "NEW-2"))
    with ward.reads() as session:
        drawn = draw(session, ward.site.id, seed="a seed", wanted=3, months=12, now=ward.now)
    chosen = [each.lot_id for each in drawn.lots]
    assert drawn.candidates == 2
    assert {*chosen[:2]} == {key_of(ward, TAP, "NEW-1"), key_of(ward, TAP, "NEW-2")}
    assert len(chosen) == 3
    ward.now += HOUR
    ward.prime("LATER-1")
    with ward.reads() as session:
        again = pick(session, ward.site.id, "a seed", 3, drawn.since_no, drawn.cut_no)
        other = pick(session, ward.site.id, "a seed", 9, drawn.since_no, drawn.cut_no)
    assert again == (2, chosen)
    assert key_of(ward, TAP, "LATER-1") not in other[1]
