"""What a correction touches besides the circuit: the stock book, blood, an opening since.

Rules: the design's use-by limits; common practice, no source.
"""

import json
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from sqlalchemy import select

from tests.corrections.test_acts import RIGHT, WRONG, entries_of, mend, mend_lot
from tests.make import HOUR, MINUTE, OXYGENATOR, SECOND, TAP, Ward, code
from tests.stock_acts import Shelves
from traceability.actions.circuit.foreign import TakeInForeign, take_in_foreign
from traceability.actions.circuit.foreign_list import ListForeign, list_foreign
from traceability.actions.circuit.open_up import OpenUp, open_up
from traceability.reads.entries import entry_facts
from traceability.storage.equipment import EquipmentUse
from traceability.storage.rebuild import rebuild
from traceability.storage.run_extras import Custody, RunMode


def unchanged(ward: Ward) -> tuple[str, ...]:
    """Return the tables that a rebuild would make otherwise."""
    with ward.services.writes() as session:
        changed = rebuild(session, ward.site.id).changed
        session.rollback()
    return changed


def test_a_mistyped_lot_set_right_gives_its_piece_back_to_the_shelf(ward: Ward) -> None:
    shelves = Shelves(ward)
    for lot in (WRONG, RIGHT):
        shelves.receive(code(TAP, lot), packs=5)
    ward.now += HOUR
    circuit = ward.begin()
    ward.scan(circuit, code(TAP, WRONG))
    assert shelves.levels(TAP) == {(WRONG, "trolley 1"): 4, (RIGHT, "trolley 1"): 5}
    ward.now += HOUR
    mend_lot(ward, WRONG, RIGHT)
    assert shelves.levels(TAP) == {(WRONG, "trolley 1"): 5, (RIGHT, "trolley 1"): 4}
    mend(ward, entries_of(ward, "corrected")[-1].number, void=True)
    assert shelves.levels(TAP) == {(WRONG, "trolley 1"): 4, (RIGHT, "trolley 1"): 5}
    assert unchanged(ward) == ()


def test_blood_that_never_was_gives_the_prime_its_use_by_back(ward: Ward) -> None:
    circuit = ward.prime()
    before = ward.facts(circuit).use_by
    ward.now += HOUR
    ward.give(circuit, name="Red cells", blood=True)
    short = ward.facts(circuit).use_by
    assert before
    assert short
    assert short == ward.now + 4 * HOUR < before
    mend(ward, entries_of(ward, "additive-given")[-1].number, void=True)
    assert ward.facts(circuit).use_by == before
    assert not [part for part in ward.facts(circuit).now_in if part.slot == "additive"]
    assert unchanged(ward) == ()


def opened(ward: Ward, circuit: UUID) -> None:
    open_up(OpenUp(sent=ward.sent(), circuit_id=circuit, at=ward.now), site=ward.site)


def test_a_correction_leaves_an_opened_circuit_its_shorter_use_by(ward: Ward) -> None:
    circuit = ward.prime()
    ward.now += HOUR
    opened(ward, circuit)
    short = ward.facts(circuit).use_by
    assert short
    assert short - ward.now <= timedelta(days=5, hours=1)
    ward.now += HOUR
    lot = next(part.lot for part in ward.facts(circuit).now_in if part.slot.startswith("tap"))
    assert lot
    mend_lot(ward, lot, RIGHT, expiry="2032-12-31")
    assert ward.facts(circuit).use_by == short
    assert unchanged(ward) == ()


def spans_of(ward: Ward, link: Any) -> list[tuple[datetime, datetime | None]]:
    """Return what is believed of a link: from when until when."""
    with ward.reads() as session:
        rows = session.scalars(select(link).where(link.superseded_no.is_(None)))
        return [(row.valid_from, row.valid_to) for row in rows]


def on_a_run(ward: Ward) -> tuple[UUID, UUID]:
    """Return a circuit that was just taken, and its run."""
    circuit = ward.prime()
    run = UUID(str(ward.take(circuit).facts["run_id"]))
    ward.now += MINUTE
    return circuit, run


def test_machines_and_mode_end_when_the_run_is_said_to_have_ended(ward: Ward) -> None:
    circuit, run = on_a_run(ward)
    ward.flow_on(circuit)
    ward.mode(run)
    ward.equip(run_id=run, equipment_id=ward.machine())
    began = ward.now
    ward.now += HOUR
    ward.flow_off(circuit)
    ward.end_run(run)
    ward.now += HOUR
    end = ward.now - 5 * MINUTE
    mend(ward, entries_of(ward, "run-ended")[-1].number, moment=end)
    assert spans_of(ward, EquipmentUse) == spans_of(ward, RunMode) == [(began, end)]
    mend(ward, entries_of(ward, "corrected")[-1].number, void=True)
    assert spans_of(ward, EquipmentUse) == [(began, began + HOUR)]
    assert unchanged(ward) == ()


def test_a_machine_of_a_run_that_never_was_is_free(ward: Ward) -> None:
    _, run = on_a_run(ward)
    machine = ward.machine()
    ward.equip(run_id=run, equipment_id=machine)
    ward.now += MINUTE
    mend(ward, entries_of(ward, "circuit-taken")[-1].number, void=True)
    _, other = on_a_run(ward)
    assert ward.equip(run_id=other, equipment_id=machine).code == "equipment-on"
    assert unchanged(ward) == ()


def test_an_empty_list_and_a_keeper_outlast_a_correction_beside_them(ward: Ward) -> None:
    sender = TakeInForeign(sent=ward.sent(), sender="Inventium North ICU", at=ward.now)
    foreign = take_in_foreign(sender, site=ward.site).subject
    assert foreign
    ward.now += MINUTE
    listed = ListForeign(
        sent=ward.sent(),
        circuit_id=foreign,
        parts=(),
        complete=True,
        source="its paper",
        at=ward.now,
        as_it_stands=True,
    )
    list_foreign(listed, site=ward.site)
    ward.take(foreign)
    ward.now += MINUTE
    mend(ward, entries_of(ward, "circuit-taken")[-1].number, moment=ward.now - 30 * SECOND)
    assert ward.facts(foreign).contents == "stated"

    circuit, _ = on_a_run(ward)
    ward.flow_on(circuit)
    ward.now += MINUTE
    ward.flow_off(circuit)
    ward.now += MINUTE
    ward.keep(circuit)
    kept_since = ward.now
    ward.now += MINUTE
    ward.discard(circuit, reason="used")
    mend(ward, entries_of(ward, "circuit-discarded")[-1].number, void=True)
    assert spans_of(ward, Custody) == [(kept_since, None)]
    assert unchanged(ward) == ()


def test_the_stock_book_follows_a_correction_moved_undone_or_swapped(ward: Ward) -> None:
    shelves = Shelves(ward)
    for lot in (WRONG, RIGHT):
        shelves.receive(code(TAP, lot), packs=5)
        shelves.receive(code(OXYGENATOR, lot, serial=f"OX-{lot}"))
    whole = {(WRONG, "trolley 1"): 5, (RIGHT, "trolley 1"): 5}
    ward.now += HOUR
    priming = ward.begin()
    ward.scan(priming, code(TAP, WRONG))
    mend_lot(ward, WRONG, RIGHT)
    ward.undo(priming)
    assert shelves.levels(TAP) == whole

    circuit, _ = on_a_run(ward)
    ward.flow_on(circuit)
    ward.now += HOUR
    before = shelves.levels(TAP)
    ward.swap(circuit, "tap-pump", code(TAP, WRONG))
    assert shelves.levels(TAP) != before
    swapped = entries_of(ward, "part-swapped")[-1]
    mend(ward, swapped.number, moment=swapped.happened_at - 3 * MINUTE)
    mend(ward, swapped.number, void=True)
    assert shelves.levels(TAP) == before

    ward.swap(circuit, "oxygenator", code(OXYGENATOR, WRONG, serial=f"OX-{WRONG}"))
    swapped = entries_of(ward, "part-swapped")[-1]
    part = UUID(json.loads(swapped.body)["part_in"][0]["part"])
    mend(
        ward,
        swapped.number,
        parts=(part,),
        state="recorded",
        product_id=shelves.key(OXYGENATOR),
        lot=RIGHT,
        serial=f"OX-{RIGHT}",
        expiry="2033-03-31",
    )
    assert shelves.levels(OXYGENATOR) == {(WRONG, "trolley 1"): 1}
    assert unchanged(ward) == ()


def test_a_piece_that_was_added_can_be_set_right_from_where_it_is_read(ward: Ward) -> None:
    circuit, _ = on_a_run(ward)
    ward.flow_on(circuit)
    ward.now += MINUTE
    ward.add_part(circuit, code(TAP, WRONG))
    added = entries_of(ward, "part-added")[-1]
    with ward.reads() as session:
        facts = entry_facts(session, ward.site.id, added.number)
    assert facts
    (piece,) = facts.pieces
    mend(
        ward,
        added.number,
        parts=(UUID(piece.part),),
        state="recorded",
        product_id=UUID(piece.product_id),
        lot=RIGHT,
        expiry="2033-03-31",
    )
    now = [part.lot for part in ward.facts(circuit).now_in if part.lot in {WRONG, RIGHT}]
    assert RIGHT in now
    assert WRONG not in now
