"""What belongs to a run besides its circuits: mode, run parts, machines, pieces added, additives.

Source of the rules: common practice, no source; settled in review with people of the trade.
"""

from contextlib import suppress
from dataclasses import replace
from datetime import timedelta
from typing import Any
from uuid import UUID, uuid4

import pytest
from sqlalchemy import select

from tests.make import (
    ALBUMIN,
    CANNULA,
    HEATER,
    HOUR,
    MINUTE,
    OXYGENATOR,
    RED_CELLS,
    TAP,
    Ward,
    code,
)
from traceability.actions.circuit.keep import MoveCircuit, move_circuit
from traceability.actions.equipment.register import MoveEquipment, move_equipment
from traceability.actions.run.change import ChangeOut, change_out
from traceability.domain.circuits import Phase, State
from traceability.domain.moments import Manner
from traceability.domain.tags import SymbolKind, site_code, write_symbol
from traceability.errors import (
    BadScan,
    BadValue,
    CautionsFirst,
    EquipmentBusy,
    NotAllowed,
    UnknownCode,
    WrongMoment,
    WrongState,
)
from traceability.reads.equipment import machine_life
from traceability.storage.circuits import CircuitPlace, Part, Prime
from traceability.storage.equipment import EquipmentState, EquipmentUse
from traceability.storage.kept_apart import KeptApart
from traceability.storage.ledger import LedgerEvent
from traceability.storage.rebuild import rebuild
from traceability.storage.run_extras import Custody, RunMode, RunPart


def on_patient(ward: Ward) -> tuple[UUID, UUID]:
    """Return a circuit on a patient, and its run."""
    circuit = ward.prime()
    run = UUID(str(ward.take(circuit).facts["run_id"]))
    ward.flow_on(circuit)
    ward.now += HOUR
    return circuit, run


def believed(ward: Ward, table: Any, **where: object) -> list[Any]:
    with ward.reads() as session:
        rows = select(table).filter_by(superseded_no=None, **where)
        return list(session.scalars(rows.order_by(table.recorded_no, table.line)))


def rebuilt(ward: Ward) -> tuple[str, ...]:
    with ward.services.writes.begin() as session:
        return rebuild(session, ward.site.id).changed


# ---- mode ----------------------------------------------------------------------------------------
def test_a_mode_ends_the_one_before_in_the_same_moment_and_ends_with_the_run(ward: Ward) -> None:
    _, run = on_patient(ward)
    began = ward.now
    ward.mode(run, "VV")
    ward.now += 2 * HOUR
    ward.mode(run, "VA")
    changed = ward.now
    ward.now += HOUR
    ward.end_run(run)
    rows = [(row.mode, row.valid_from, row.valid_to) for row in believed(ward, RunMode)]
    assert rows == [("VV", began, changed), ("VA", changed, ward.now)]
    assert rebuilt(ward) == ()


def test_a_mode_is_no_free_text_and_lies_within_the_run(ward: Ward) -> None:
    _, run = on_patient(ward)
    with pytest.raises(BadValue):
        ward.mode(run, "both")
    with pytest.raises(WrongMoment) as before:
        ward.mode(run, at=ward.now - 30 * HOUR)
    assert before.value.facts["side"] == "before-run"
    with pytest.raises(WrongMoment) as after:
        ward.mode(run, at=ward.now + HOUR)
    assert after.value.facts["side"] == "to-come"
    with pytest.raises(UnknownCode):
        ward.mode(uuid4())
    assert believed(ward, RunMode) == []


# ---- run parts -----------------------------------------------------------------------------------
def test_a_cannula_survives_a_change_of_circuit_and_the_end_of_the_run(ward: Ward) -> None:
    old, run = on_patient(ward)
    went_in = ward.now - 2 * HOUR
    done = ward.part_in(
        run, code(CANNULA, "CN-1", serial="S1"), body_site="right femoral vein", at=went_in
    )
    new = ward.prime()
    change_out(
        ChangeOut(
            sent=ward.sent(),
            old_circuit_id=old,
            run_id=run,
            new_number=ward.number(new),
            off_at=ward.now,
            on_at=ward.now + MINUTE,
        ),
        site=ward.site,
    )
    ward.now += HOUR
    ward.end_run(run)
    [row] = believed(ward, RunPart)
    assert (row.valid_from, row.valid_to, row.body_site) == (went_in, None, "right femoral vein")
    ward.now += HOUR
    ward.part_out(run, done.subject)
    [row] = believed(ward, RunPart)
    assert row.valid_to == ward.now
    assert rebuilt(ward) == ()


def test_the_same_request_is_the_same_cannula(ward: Ward) -> None:
    _, run = on_patient(ward)
    sent = ward.sent()
    first = ward.part_in(run, code(CANNULA, "CN-1"), sent=sent)
    again = ward.part_in(run, code(CANNULA, "CN-1"), sent=sent)
    assert first == again
    assert len(believed(ward, RunPart)) == 1


def test_a_one_use_unit_used_before_is_told_and_kept_as_disputed(ward: Ward) -> None:
    _, first = on_patient(ward)
    _, second = on_patient(ward)
    text = code(CANNULA, "CN-1", serial="S1")
    done = ward.part_in(first, text)
    ward.part_out(first, done.subject)
    with pytest.raises(CautionsFirst) as told:
        ward.part_in(second, text)
    assert told.value.facts["cautions"] == ["same-serial-elsewhere"]
    anyway = ward.part_in(second, text, reason="by-hand")
    in_an_emergency = ward.part_in(second, text, manner=Manner.EMERGENCY)
    assert (anyway.disputed, in_an_emergency.disputed) == (True, True)
    assert [row.disputed for row in believed(ward, RunPart)] == [False, True, True]


def test_a_unit_of_a_run_is_not_silently_primed_as_well(ward: Ward) -> None:
    _, run = on_patient(ward)
    ward.part_in(run, code(CANNULA, "CN-1", serial="S1"))
    circuit, _ = on_patient(ward)
    with pytest.raises(BadValue):
        ward.add_part(circuit, code(CANNULA, "CN-1", serial="S1"))
    done = ward.add_part(circuit, code(CANNULA, "CN-1", serial="S1"), manner=Manner.EMERGENCY)
    assert done.disputed
    assert set(done.cautions) == {"wrong-place", "same-serial-elsewhere"}


def test_the_very_cannula_that_lies_there_does_not_go_in_twice(ward: Ward) -> None:
    _, run = on_patient(ward)
    text = code(CANNULA, "CN-1", serial="S1")
    ward.part_in(run, text)
    with pytest.raises(BadScan) as told:
        ward.part_in(run, text)
    assert told.value.facts["why"] == "same-serial-here"


def test_a_cannula_without_a_code_is_recorded_as_what_it_is(ward: Ward) -> None:
    _, run = on_patient(ward)
    with pytest.raises(BadValue):
        ward.part_in(run)
    ward.part_in(run, what="cannula", lot_not_readable=True)
    ward.part_in(run, what="guide-wire")
    states = [(row.kind, row.state) for row in believed(ward, RunPart)]
    assert states == [("cannula", "lot-not-readable"), ("guide-wire", "lot-not-recorded")]


def test_a_tap_is_no_run_part_but_an_emergency_goes_on(ward: Ward) -> None:
    _, run = on_patient(ward)
    with pytest.raises(BadValue):
        ward.part_in(run, code(TAP, "T1"))
    done = ward.part_in(run, code(TAP, "T1"), manner=Manner.EMERGENCY)
    assert done.cautions == ("wrong-place",)
    done = ward.part_in(run, "no code at all", manner=Manner.EMERGENCY)
    assert done.cautions == ("contents-not-recorded",)


def test_a_wristband_in_the_wrong_field_is_written_nowhere(ward: Ward) -> None:
    circuit, run = on_patient(ward)
    wristband = "]d2" + "8018" + "735000000000000007"
    acts: list[Any] = [
        lambda manner: ward.part_in(run, wristband, what="cannula", manner=manner),
        lambda manner: ward.add_part(circuit, wristband, part_kind="tap", manner=manner),
        lambda manner: ward.give(circuit, text=wristband, name="Heparin", manner=manner),
        lambda manner: ward.equip(run_id=run, text=wristband, what="console", manner=manner),
    ]
    for act in acts:
        with pytest.raises(BadScan):
            act(Manner.PLANNED)
        with suppress(BadScan):  # an emergency goes on, or says that this is no code
            act(Manner.EMERGENCY)
    with ward.reads() as session:
        bodies = "".join(session.scalars(select(LedgerEvent.body)))
        kept = "".join(text or "" for text in session.scalars(select(KeptApart.text)))
    assert "735000000000000007" not in bodies + kept


def test_out_before_in_and_out_of_nothing_are_told(ward: Ward) -> None:
    _, run = on_patient(ward)
    done = ward.part_in(run, code(CANNULA, "CN-1"))
    with pytest.raises(WrongMoment):
        ward.part_out(run, done.subject, at=ward.now - HOUR)
    with pytest.raises(UnknownCode):
        ward.part_out(run, uuid4())
    ward.part_out(run, done.subject)
    with pytest.raises(UnknownCode):
        ward.part_out(run, done.subject)


# ---- machines ------------------------------------------------------------------------------------
def test_only_a_biomedical_engineer_registers_machines(ward: Ward) -> None:
    with pytest.raises(NotAllowed):
        ward.machine(sent=ward.at("bedside").sent())
    one = ward.machine(asset_number="bme-7")
    with pytest.raises(BadValue):
        ward.machine("HC-2", asset_number="BME-7")
    for bad in ({"serial": ""}, {"serviced_on": "12.1.2031"}, {"disinfected_on": "2031-05-07"}):
        with pytest.raises(BadValue):
            ward.machine(**bad)
    ward.now += HOUR
    ward.machine(equipment_id=one, asset_number="BME-7", software="2.1", serviced_on="2031-05-06")
    states = [(row.software, row.valid_to) for row in believed(ward, EquipmentState)]
    assert states == [("", ward.now), ("2.1", None)]
    assert rebuilt(ward) == ()


def test_a_machine_is_found_by_label_code_asset_number_and_serial(ward: Ward) -> None:
    _, run = on_patient(ward)
    one = ward.machine(asset_number="BME-7", product_id=None)
    label = write_symbol(SymbolKind.PART, f"{site_code(ward.site.id)}.BME-7")
    for text in (label, "bme-7", "HC-1"):
        done = ward.equip(run_id=run, text=text)
        ward.now += MINUTE
        ward.unequip(done.subject)
    coded = ward.equip(run_id=run, text=code(HEATER, serial="HC-9"))
    found = [(row.equipment_id, row.serial) for row in believed(ward, EquipmentUse)]
    assert found == [(one, "HC-1")] * 3 + [(None, "HC-9")]
    assert coded.disputed is False


def test_a_machine_serves_one_place_and_a_second_claim_is_disputed(ward: Ward) -> None:
    _, first = on_patient(ward)
    _, second = on_patient(ward)
    one = ward.machine()
    ward.equip(run_id=first, equipment_id=one)
    with pytest.raises(EquipmentBusy) as told:
        ward.equip(run_id=second, text="HC-1")
    assert told.value.facts["where"] == "run R-0001"
    done = ward.equip(run_id=second, text="HC-1", manner=Manner.ANYWAY)
    assert done.disputed
    ward.now += HOUR
    ward.end_run(first)
    with pytest.raises(EquipmentBusy):
        ward.equip(run_id=second, equipment_id=one, at=ward.now - 30 * MINUTE)
    ward.end_run(second)
    uses = [(row.disputed, row.valid_to) for row in believed(ward, EquipmentUse)]
    assert uses == [(False, ward.now), (True, ward.now)]
    assert rebuilt(ward) == ()


def test_the_machine_under_a_circuit_comes_to_the_run_with_it(ward: Ward) -> None:
    circuit = ward.prime()
    console = ward.machine("PC-3", "console")
    ward.equip(circuit_id=circuit, equipment_id=console)
    ward.now += HOUR
    run = UUID(str(ward.take(circuit).facts["run_id"]))
    ward.flow_on(circuit)
    done = ward.equip(run_id=run, equipment_id=console)
    assert not done.disputed
    rows = [(row.circuit_id, row.run_id, row.valid_to) for row in believed(ward, EquipmentUse)]
    assert rows == [(circuit, None, ward.now), (None, run, None)]


def test_no_heater_cooler_used_is_a_fact_until_one_is(ward: Ward) -> None:
    _, run = on_patient(ward)
    ward.equip(run_id=run, what="heater-cooler", none_used=True)
    ward.now += HOUR
    ward.equip(run_id=run, what="heater-cooler")
    rows = [(row.none_used, row.valid_to) for row in believed(ward, EquipmentUse)]
    assert rows == [(True, ward.now), (False, None)]
    with pytest.raises(BadValue):
        ward.equip(run_id=run, what="heater-cooler", none_used=True)


def test_what_is_entered_after_the_run_ended_ends_with_it(ward: Ward) -> None:
    _, run = on_patient(ward)
    one = ward.machine()
    ward.end_run(run)
    over = ward.now
    ward.now += 5 * HOUR
    with pytest.raises(WrongMoment):
        ward.equip(run_id=run, equipment_id=one)
    ward.equip(run_id=run, equipment_id=one, at=over - 30 * MINUTE)
    [row] = believed(ward, EquipmentUse)
    assert (row.valid_from, row.valid_to) == (over - 30 * MINUTE, over)


# ---- pieces added --------------------------------------------------------------------------------
def test_a_tap_added_at_the_bedside_takes_nothing_elses_place(ward: Ward) -> None:
    circuit, _ = on_patient(ward)
    before = {(part.slot, part.ordinal) for part in ward.facts(circuit).now_in}
    ward.add_part(circuit, code(TAP, "NEW"), slot="tap-middle")
    ward.add_part(circuit, code(TAP, "NEW"))
    after = {(part.slot, part.ordinal) for part in ward.facts(circuit).now_in}
    assert after - before == {("tap-middle", 2), ("bedside", 1)}
    assert before <= after
    with pytest.raises(UnknownCode):
        ward.add_part(circuit, code(TAP, "NEW"), slot="no-such-place")
    assert rebuilt(ward) == ()


def test_a_tap_on_the_suction_side_still_warns(ward: Ward) -> None:
    circuit, _ = on_patient(ward)
    with pytest.raises(CautionsFirst) as told:
        ward.add_part(circuit, code(TAP, "NEW"), slot="drain")
    assert told.value.facts["cautions"] == ["suction-side"]
    done = ward.add_part(circuit, code(TAP, "NEW"), slot="drain", manner=Manner.EMERGENCY)
    assert done.cautions == ("suction-side",)


def test_a_piece_is_not_added_while_priming_or_after_the_end(ward: Ward) -> None:
    circuit, run = on_patient(ward)
    ward.end_run(run)
    over = ward.now
    ward.now += HOUR
    with pytest.raises(WrongMoment) as told:
        ward.add_part(circuit, code(TAP, "NEW"))
    assert told.value.facts["side"] == "circuit-ended"
    ward.add_part(circuit, code(TAP, "NEW"), at=over - 10 * MINUTE)
    with pytest.raises(WrongState):
        ward.add_part(ward.begin(), code(TAP, "NEW"))


def test_a_serial_of_another_circuit_is_disputed_when_added(ward: Ward) -> None:
    circuit, _ = on_patient(ward)
    other = ward.prime()
    unit = next(part for part in ward.facts(other).now_in if part.slot == "oxygenator")
    text = code(OXYGENATOR, "3F0117", serial=str(unit.serial))
    assert ward.add_part(circuit, text, reason="by-hand").disputed


# ---- additives -----------------------------------------------------------------------------------
def test_an_additive_stays_in_the_circuit_with_its_dose_and_lot(ward: Ward) -> None:
    circuit = ward.begin()
    ward.give(circuit, text=code(ALBUMIN, "AL-1"), dose="100", unit="ml")
    ward.give(circuit, name="Heparin", dose="5000", unit="IU")
    ward.fill(circuit)
    ward.end(circuit)
    parts = [row for row in believed(ward, Part) if row.slot == "additive"]
    assert [(row.kind, row.stays, row.state) for row in parts] == [
        ("additive", True, "recorded"),
        ("additive", True, "lot-not-recorded"),
    ]
    assert ward.facts(circuit).decides["code"] == "policy-wet-closed"
    with pytest.raises(BadValue):
        ward.give(circuit)
    assert rebuilt(ward) == ()


def test_blood_in_the_prime_leaves_hours_and_makes_the_tag_an_old_one(ward: Ward) -> None:
    """4 h: Brunskill et al., Transfus Med Rev 2012;26:209-23 (the policy's default)."""
    circuit = ward.prime()
    first = ward.facts(circuit)
    ward.now += HOUR
    ward.give(circuit, text=code(RED_CELLS, "RC-1"), dose="250", unit="ml")
    facts = ward.facts(circuit)
    assert first.decides["code"] == "policy-wet-closed"
    assert facts.decides["code"] == "blood-prime"
    assert facts.use_by == ward.now + 4 * HOUR
    assert facts.ended_at == first.ended_at
    assert len(believed(ward, Prime, circuit_id=circuit)) == 1
    ward.now += 5 * HOUR
    assert ward.facts(circuit).state is State.PAST_USE_BY
    assert rebuilt(ward) == ()


def test_blood_given_while_priming_counts_from_when_it_went_in(ward: Ward) -> None:
    circuit = ward.begin()
    ward.give(circuit, name="Red cells", blood=True)
    went_in = ward.now
    ward.fill(circuit)
    ward.end(circuit)
    assert ward.facts(circuit).use_by == went_in + 4 * HOUR


def test_an_additive_that_expires_sooner_decides(ward: Ward) -> None:
    circuit = ward.prime()
    ward.give(circuit, text=code(ALBUMIN, "AL-1", expires="310507"))
    decides = ward.facts(circuit).decides
    assert (decides["code"], decides["lot"]) == ("part-expiry", "AL-1")


def test_blood_given_on_the_patient_changes_no_use_by(ward: Ward) -> None:
    circuit, _ = on_patient(ward)
    before = ward.facts(circuit).use_by
    ward.give(circuit, text=code(RED_CELLS, "RC-1"))
    assert ward.facts(circuit).use_by == before


# ---- kept for inspection -------------------------------------------------------------------------
def test_a_circuit_is_kept_with_its_keepers_in_order(ward: Ward) -> None:
    circuit, run = on_patient(ward)
    with pytest.raises(WrongState):
        ward.keep(circuit)
    ward.end_run(run)
    with pytest.raises(WrongState):
        ward.pass_on(circuit)
    ward.now += HOUR
    ward.keep(circuit)
    assert ward.facts(circuit).state is State.KEPT
    assert ward.facts(circuit).place == "trolley 1"
    ward.now += HOUR
    with pytest.raises(BadValue):
        ward.pass_on(circuit, " ")
    ward.pass_on(circuit, "K. Holm, biomedical engineering")
    ward.now += HOUR
    ward.pass_on(circuit, "Parcel 12", reason="to-maker")
    rows = believed(ward, Custody)
    assert [row.reason for row in rows] == ["", "to-look-at", "to-maker"]
    assert [row.valid_to for row in rows] == [rows[1].valid_from, rows[2].valid_from, None]
    assert ward.facts(circuit).place == ""
    with ward.reads() as session:
        assert "Holm" not in "".join(session.scalars(select(LedgerEvent.body)))
        assert "K. Holm, biomedical engineering" in session.scalars(select(KeptApart.text)).all()
    assert rebuilt(ward) == ()


def test_a_kept_circuit_is_not_planned_with_and_can_be_discarded(ward: Ward) -> None:
    circuit = ward.prime()
    ward.keep(circuit)
    with pytest.raises(WrongState):
        ward.take(circuit, manner=Manner.PLANNED, sent=ward.sent())
    ward.discard(circuit, "other")
    assert ward.facts(circuit).standing.phase is Phase.DISCARDED
    assert [row.valid_to is None for row in believed(ward, Custody)] == [False]
    other = ward.prime()
    ward.keep(other)
    done = ward.take(other)
    assert "kept-for-inspection" in done.cautions
    assert believed(ward, CircuitPlace, circuit_id=other, valid_to=None) == []


def test_kept_before_it_came_off_is_told(ward: Ward) -> None:
    circuit, run = on_patient(ward)
    ward.end_run(run)
    with pytest.raises(WrongMoment):
        ward.keep(circuit, at=ward.now - timedelta(days=1))


def test_the_acts_are_the_same_when_they_come_again(ward: Ward) -> None:
    circuit, run = on_patient(ward)
    acts: list[Any] = []
    for call in (
        lambda sent: ward.mode(run, sent=sent),
        lambda sent: ward.equip(run_id=run, what="blender", sent=sent),
        lambda sent: ward.add_part(circuit, code(TAP, "NEW"), sent=sent),
        lambda sent: ward.give(circuit, name="Heparin", sent=sent),
    ):
        sent = replace(ward.sent(), request_id=uuid4())
        acts += [lambda call=call, sent=sent: call(sent)] * 2
    answers = [act() for act in acts]
    assert answers[::2] == answers[1::2]


def test_a_machines_page_says_whom_it_served_and_who_was_in_the_same_place(ward: Ward) -> None:
    circuit, run = on_patient(ward)
    one = ward.machine()
    for place, hours in (("bed 4", 5), ("console 3", 1)):
        asked = MoveEquipment(
            sent=ward.sent(),
            equipment_id=one,
            place_id=ward.places[place],
            at=ward.now,
        )
        move_equipment(asked, site=ward.site)
        if place == "bed 4":
            ward.equip(run_id=run, equipment_id=one)
            second = ward.prime()
            moved = MoveCircuit(
                sent=ward.sent(), circuit_id=second, place_id=ward.places["bed 4"], at=ward.now
            )
            move_circuit(moved, site=ward.site)
            left = ward.now + hours * HOUR
        ward.now += hours * HOUR
    with ward.reads() as session:
        life = machine_life(session, ward.site.id, one)
    assert life is not None
    assert [(each.run, each.circuit) for each in life.served] == [("R-0001", "C-0001")]
    assert [name for name, _, _ in life.places] == ["bed 4", "console 3"]
    at_bed = [each for each in life.beside if each.place == "bed 4"]
    assert [(each.circuit, each.run, each.until) for each in at_bed] == [("C-0002", "", left)]
    assert life.now.serves == "R-0001"
    assert ward.facts(circuit).number == "C-0001"


def test_a_machine_is_not_moved_to_before_it_came_where_it_stands(ward: Ward) -> None:
    one = ward.machine()
    moved = MoveEquipment(
        sent=ward.sent(), equipment_id=one, place_id=ward.places["bed 4"], at=ward.now
    )
    move_equipment(moved, site=ward.site)
    with pytest.raises(WrongMoment):
        move_equipment(replace(moved, sent=ward.sent(), at=ward.now - HOUR), site=ward.site)
    with pytest.raises(UnknownCode):
        move_equipment(replace(moved, sent=ward.sent(), place_id=uuid4()), site=ward.site)
