"""Acts that meet: a wrong scan while a circuit runs, undo across two devices, clocks that disagree.

Source of the rules: common practice, no source; settled in review with people of the trade.
"""

from dataclasses import replace
from datetime import timedelta
from itertools import pairwise
from uuid import UUID

import pytest
from sqlalchemy import select

from tests.make import HOUR, MINUTE, NOON, OXYGENATOR, PACK, SYRINGE, TAP, TROLLEY_2, Ward, code
from traceability.actions.circuit.keep import MoveCircuit, move_circuit
from traceability.actions.once import Done
from traceability.actions.run.change import ChangeOut, change_out
from traceability.actions.run.come_back import CameBackUnused, TakeBack, came_back_unused, take_back
from traceability.actions.run.flow import EndRun, end_run
from traceability.domain.circuits import State
from traceability.domain.moments import Manner
from traceability.domain.parts import PartState
from traceability.errors import NothingToUndo, NotOnRun, Refused, WrongMoment, WrongState
from traceability.storage.circuits import CircuitPhase, CircuitPlace, Part
from traceability.storage.runs import CircuitOnRun


def run_of(done: Done) -> UUID:
    return UUID(str(done.facts["run_id"]))


def back(ward: Ward, circuit: UUID) -> Done:
    return take_back(TakeBack(sent=ward.sent(), circuit_id=circuit, at=ward.now), site=ward.site)


def on_patient(ward: Ward) -> tuple[UUID, UUID]:
    circuit = ward.prime()
    run = run_of(ward.take(circuit))
    ward.now += 5 * MINUTE
    ward.flow_on(circuit)
    ward.now += HOUR
    return circuit, run


def test_ending_a_disputed_run_leaves_the_circuit_on_its_patient(ward: Ward) -> None:
    circuit, _ = on_patient(ward)
    disputed = ward.take(circuit)
    assert disputed.disputed
    ward.now += MINUTE
    end_run(EndRun(sent=ward.sent(), run_id=run_of(disputed), at=ward.now), site=ward.site)
    facts = ward.facts(circuit)
    assert facts.state is State.ON_PATIENT
    assert facts.on_run is not None
    assert facts.on_run.run == "R-0001"


def test_flow_off_of_a_disputed_claim_leaves_the_circuit_on_its_patient(ward: Ward) -> None:
    circuit, _ = on_patient(ward)
    run = run_of(ward.take(circuit))
    ward.now += MINUTE
    ward.flow_off(circuit, run_id=run)
    assert ward.facts(circuit).state is State.ON_PATIENT


@pytest.mark.parametrize("end", ["used", "discarded"])
def test_a_wrong_scan_of_a_used_circuit_never_makes_it_ready(ward: Ward, end: str) -> None:
    if end == "discarded":
        circuit = ward.prime()
        ward.discard(circuit, "opened")
        before = State.DISCARDED
    else:
        circuit, _ = on_patient(ward)
        ward.flow_off(circuit)
        before = State.ENDED
    ward.now += MINUTE
    ward.take(circuit)
    asked = CameBackUnused(
        sent=ward.sent(), circuit_id=circuit, place_id=ward.places["box 3"], at=ward.now
    )
    with pytest.raises(WrongState):
        came_back_unused(asked, site=ward.site)
    back(ward, circuit)
    assert ward.facts(circuit).state is before


def test_a_wrong_scan_of_a_circuit_being_primed_leaves_the_prime_going_on(ward: Ward) -> None:
    circuit = ward.begin()
    ward.take(circuit)
    back(ward, circuit)
    assert ward.facts(circuit).state is State.PRIMING
    ward.fill(circuit)
    assert ward.end(circuit).code == "prime-ended"


def test_a_second_flow_on_never_shortens_an_exposure(ward: Ward) -> None:
    circuit, _ = on_patient(ward)
    on_run = ward.facts(circuit).on_run
    assert on_run is not None
    first = on_run.flow_from
    with pytest.raises(Refused):
        ward.flow_on(circuit)
    for manner in (Manner.EMERGENCY, Manner.QUEUED):
        ward.flow_on(circuit, manner=manner)
    again = ward.facts(circuit).on_run
    assert again is not None
    assert again.flow_from == first


def test_an_earlier_flow_on_from_another_device_counts_from_then(ward: Ward) -> None:
    circuit = ward.prime()
    ward.take(circuit)
    taken = ward.now
    ward.now += HOUR
    ward.flow_on(circuit)
    ward.flow_on(circuit, at=taken + MINUTE, manner=Manner.QUEUED)
    on_run = ward.facts(circuit).on_run
    assert on_run is not None
    assert on_run.flow_from == taken + MINUTE


def test_flow_on_in_an_emergency_is_written_although_nobody_scanned_the_take(ward: Ward) -> None:
    circuit = ward.prime()
    done = ward.flow_on(circuit, manner=Manner.EMERGENCY, sent=replace(ward.sent(), actor_id=None))
    facts = ward.facts(circuit)
    assert facts.state is State.ON_PATIENT
    assert facts.on_run is not None
    assert (facts.on_run.run, facts.on_run.flow_from) == ("R-0001", ward.now)
    assert "not-taken-before" in done.cautions


def test_flow_off_without_a_take_counts_as_possible_since_the_prime_ended(ward: Ward) -> None:
    circuit = ward.prime()
    ended_at = ward.facts(circuit).ended_at
    ward.now += 5 * HOUR
    with pytest.raises(NotOnRun):
        ward.flow_off(circuit)
    done = ward.flow_off(circuit, manner=Manner.QUEUED)
    assert "not-taken-before" in done.cautions
    runs = [(each.taken_at, each.flow_from, each.until) for each in ward.facts(circuit).runs]
    assert runs == [(ended_at, None, ward.now)]


def test_a_change_out_that_is_refused_changes_nothing_and_can_be_corrected(ward: Ward) -> None:
    old, run = on_patient(ward)
    new = ward.prime()
    on_run = ward.facts(old).on_run
    assert on_run is not None
    assert on_run.flow_from is not None
    asked = ChangeOut(
        sent=ward.sent(),
        old_circuit_id=old,
        run_id=run,
        new_number=ward.number(new),
        off_at=on_run.flow_from - MINUTE,
        on_at=ward.now,
    )
    with pytest.raises(WrongMoment):
        change_out(asked, site=ward.site)
    assert ward.facts(new).state is State.READY
    change_out(replace(asked, off_at=ward.now, on_at=ward.now), site=ward.site)
    assert (ward.facts(old).state, ward.facts(new).state) == (State.ENDED, State.ON_PATIENT)


def test_a_run_that_has_ended_takes_no_other_circuit(ward: Ward) -> None:
    _, run = on_patient(ward)
    ward.end_run(run)
    new = ward.prime()
    with pytest.raises(Refused):
        ward.take(new, run_id=run, manner=Manner.PLANNED, sent=ward.sent())
    kept = ward.take(new, run_id=run)
    assert "run-has-ended" in kept.cautions


def test_what_was_opened_and_not_used_is_discarded_from_where_it_is(ward: Ward) -> None:
    circuit = ward.prime()
    ward.take(circuit)
    ward.now += 2 * HOUR
    ward.discard(circuit, "opened")
    facts = ward.facts(circuit)
    assert facts.state is State.DISCARDED
    assert [each.until for each in facts.runs] == [ward.now]


def test_a_circuit_that_blood_flows_through_is_not_discarded(ward: Ward) -> None:
    circuit, _ = on_patient(ward)
    with pytest.raises(WrongState):
        ward.discard(circuit, "opened")


def test_a_clock_that_is_behind_does_not_hide_that_the_use_by_has_passed(ward: Ward) -> None:
    circuit = ward.prime()
    ward.now += timedelta(days=31)
    done = ward.take(circuit, at=NOON - timedelta(days=400))
    assert "past-use-by" in done.cautions


def test_no_scan_is_dated_before_its_prime_began(ward: Ward) -> None:
    ward.now += 365 * 24 * HOUR
    circuit = ward.begin()
    done = ward.scan(circuit, code(SYRINGE, "OLD", expires="310630"), at=NOON)
    assert (done.verdict, done.code) == ("stop", "expired")
    ward.say(circuit, "not-fitted", "syringe")
    with ward.reads() as session:
        assert all(part.valid_from == ward.now for part in session.scalars(select(Part)))


def test_nothing_is_in_two_places_or_two_phases_or_on_two_runs_at_once(ward: Ward) -> None:
    circuit = ward.prime()
    ward.now += HOUR
    for minutes, place in ((0, "box 3"), (-45, "bed 4"), (-5, "console 3")):
        ward.now += MINUTE
        asked = MoveCircuit(
            sent=ward.sent(),
            circuit_id=circuit,
            place_id=ward.places[place],
            at=ward.now + minutes * MINUTE,
        )
        move_circuit(asked, site=ward.site)
    for minutes in (0, -120, -30):
        ward.now += 20 * MINUTE
        ward.take(circuit, at=ward.now + minutes * MINUTE)
        ward.now += 20 * MINUTE
        asked_back = CameBackUnused(
            sent=ward.sent(), circuit_id=circuit, place_id=ward.places["box 3"], at=ward.now
        )
        came_back_unused(asked_back, site=ward.site)
    with ward.reads() as session:
        for link in (CircuitPlace, CircuitPhase, CircuitOnRun):
            believed = select(link.valid_from, link.valid_to)
            rows = session.execute(believed.filter_by(superseded_no=None, disputed=False))
            spans = sorted((row.valid_from, row.valid_to or ward.now + HOUR) for row in rows)
            for (_, end), (start, _) in pairwise(spans):
                assert end <= start, link.__name__


def test_undo_after_dropped_takes_back_the_drop_and_no_other_part(ward: Ward) -> None:
    circuit = ward.begin()
    ward.scan(circuit, code(TAP, "T77-0B1"))
    ward.scan(circuit, code(SYRINGE, "SY0B40"))
    ward.drop(circuit, "tap-pump")
    ward.undo(circuit)
    now_in = {part.slot: part.lot for part in ward.facts(circuit).now_in}
    assert now_in == {"tap-pump": "T77-0B1", "syringe": "SY0B40"}


def test_undo_never_takes_back_what_another_device_has_built_on(ward: Ward) -> None:
    circuit = ward.begin()
    ward.scan(circuit, code(PACK, "PK26-104"))
    ward.scan(circuit, code(OXYGENATOR, "3F0117", serial="000452"))
    other = replace(ward, device=TROLLEY_2)
    other.drop(circuit, "oxygenator")
    other.scan(circuit, code(OXYGENATOR, "3F0117", serial="000453"))
    with pytest.raises(NothingToUndo):
        ward.undo(circuit)
    inside = next(part for part in ward.facts(circuit).now_in if part.slot == "oxygenator")
    assert inside.serial == "000453"


def test_undo_of_a_pack_takes_back_all_that_it_brought(ward: Ward) -> None:
    circuit = ward.begin()
    ward.scan(circuit, code(PACK, "PK26-104"))
    ward.scan(circuit, code(OXYGENATOR, "3F0117", serial="000452"))
    ward.undo(circuit)
    ward.undo(circuit)
    assert ward.facts(circuit).now_in == ()


def test_a_second_press_of_dropped_takes_no_second_part(ward: Ward) -> None:
    circuit = ward.begin()
    ward.scan(circuit, code("09521234000020", "B1"))
    ward.scan(circuit, code("09521234000020", "B1"))
    ward.drop(circuit)
    with pytest.raises(NothingToUndo):
        ward.drop(circuit)
    assert [part.slot for part in ward.facts(circuit).now_in] == ["saline"]


def test_same_again_asks_anew_what_a_consultant_went_past(ward: Ward) -> None:
    circuit = ward.begin()
    ward.scan(circuit, code("09521234000037", "4K0"))
    ward.go_on(circuit, reason="no-other", by=ward.people["consultant"])
    done = ward.again(circuit, 1)
    assert (done.verdict, done.code) == ("stop", "wrong-fluid")
    states = [part.state for part in ward.facts(circuit).now_in]
    assert states == [PartState.RECORDED]
