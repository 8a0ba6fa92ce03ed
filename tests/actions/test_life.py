"""From the prime's end to the run's end: what is refused, what is recorded, what is never blocked.

Source of the rules: common practice, no source; settled in review with people of the trade.
"""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import timedelta
from uuid import UUID, uuid4

import pytest
from sqlalchemy import func, select

from tests.make import HOUR, MINUTE, NOON, SECOND, SLOTS, TAP, TYPE, Ward, code
from traceability.actions.lists.devices import RevokeDevice, revoke_device
from traceability.actions.lists.sheets import SetSheet, set_sheet
from traceability.actions.once import Done
from traceability.actions.prime.end import EndPrime, end_prime
from traceability.actions.run.change import ChangeOut, change_out
from traceability.actions.run.come_back import CameBackUnused, TakeBack, came_back_unused, take_back
from traceability.domain.circuits import State
from traceability.domain.moments import Manner
from traceability.domain.sheets import Need, Slot, Where
from traceability.errors import (
    AlreadyOnRun,
    AlreadySigned,
    BadScan,
    CautionsFirst,
    DeviceNotEnrolled,
    NotAllowed,
    NotOnRun,
    PartsMissing,
    Refused,
    SamePerson,
    SignInNeeded,
    UnknownCode,
    WrongMoment,
    WrongState,
)
from traceability.reads.runs import patient_text, run_facts
from traceability.reads.shelf import shelf
from traceability.storage.circuits import Circuit, Prime
from traceability.storage.ledger import LedgerEvent
from traceability.storage.runs import CircuitOnRun


def state(ward: Ward, circuit: UUID) -> State:
    return ward.facts(circuit).state


def test_a_prime_ends_only_with_every_place_spoken_for(ward: Ward) -> None:
    circuit = ward.begin()
    ward.scan(circuit, code(TAP, "T77-0B1"))
    with pytest.raises(PartsMissing) as caught:
        ward.end(circuit)
    assert "2 × Sodium chloride 0.9 %" in caught.value.facts["missing"]  # type: ignore[operator]
    ward.end(circuit, lots_not_recorded=True)
    states = {part.slot: str(part.state) for part in ward.facts(circuit).now_in}
    assert states["syringe"] == "lot-not-recorded"
    assert states["ties"] == "ticked"


def test_the_use_by_counts_from_the_end_of_the_prime_and_says_why(ward: Ward) -> None:
    circuit = ward.begin()
    ward.fill(circuit)
    ward.end(circuit)
    facts = ward.facts(circuit)
    assert facts.ended_at is not None
    assert facts.use_by == facts.ended_at + timedelta(days=30)
    assert facts.decides["code"] == "policy-wet-closed"
    ward.now += 5 * HOUR
    ward.sign(circuit, "primer")
    assert ward.facts(circuit).use_by == facts.use_by


def test_two_different_people_sign_and_only_then_it_is_ready(ward: Ward) -> None:
    circuit = ward.begin()
    ward.fill(circuit)
    with pytest.raises(WrongState):
        ward.sign(circuit, "primer")
    ward.end(circuit)
    assert state(ward, circuit) is State.AWAITING_SIGNATURES
    ward.sign(circuit, "primer")
    with pytest.raises(AlreadySigned):
        ward.sign(circuit, "primer", "helper")
    with pytest.raises(SamePerson):
        ward.sign(circuit, "helper", "primer")
    with pytest.raises(NotAllowed):
        ward.sign(circuit, "helper", "pharmacist")
    ward.sign(circuit, "helper")
    assert state(ward, circuit) is State.READY
    meanings = [(each.part, each.meaning) for each in ward.facts(circuit).signatures]
    assert meanings == [("primer", "primed"), ("helper", "assisted and checked")]


def test_a_part_that_is_not_fitted_keeps_the_circuit_from_being_ready(ward: Ward) -> None:
    circuit = ward.begin()
    ward.fill(circuit)
    ward.drop(circuit, "syringe")
    ward.say(circuit, "not-fitted", "syringe")
    ward.end(circuit)
    ward.sign(circuit, "primer")
    ward.sign(circuit, "helper")
    assert state(ward, circuit) is State.AWAITING_SIGNATURES


def test_of_eight_browsers_that_end_one_prime_one_does_and_the_others_are_told(
    ward: Ward,
) -> None:
    circuit = ward.begin()
    ward.fill(circuit)

    def end(_: int) -> Done | Refused:
        asked = EndPrime(sent=ward.sent(), circuit_id=circuit, at=ward.now, fill_ml=1500)
        try:
            return end_prime(asked, site=ward.site)
        except WrongState as told:
            return told

    with ThreadPoolExecutor(8) as pool:
        answers = list(pool.map(end, range(8)))
    assert sum(isinstance(answer, Done) for answer in answers) == 1
    with ward.reads() as session:
        assert session.scalar(select(func.count()).select_from(Prime)) == 1


def test_anyone_takes_a_circuit_at_an_enrolled_device_by_one_scan(ward: Ward) -> None:
    circuit = ward.prime()
    done = ward.take(circuit)
    assert (done.code, done.facts["run"], done.cautions) == ("taken", "R-0001", ())
    assert state(ward, circuit) is State.TAKEN
    with pytest.raises(DeviceNotEnrolled):
        ward.take(circuit, sent=replace(ward.sent(), actor_id=None, device_id=uuid4()))


def test_a_revoked_device_takes_nothing(ward: Ward) -> None:
    circuit = ward.prime()
    asked = RevokeDevice(sent=ward.at("administrator").sent(), revoked_id=ward.device)
    revoke_device(asked, site=ward.site)
    with pytest.raises(DeviceNotEnrolled):
        ward.take(circuit)


def test_nothing_blocks_an_emergency_and_all_that_speaks_against_it_is_recorded(
    ward: Ward,
) -> None:
    circuit = ward.begin()
    ward.fill(circuit)
    ward.end(circuit)
    ward.at("consultant").hold("circuit", circuit)
    ward.now += timedelta(days=31)
    done = ward.take(circuit)
    assert done.cautions == ("signature-missing", "past-use-by", "on-hold")


def test_a_planned_take_is_told_first_and_goes_on_by_a_named_person(ward: Ward) -> None:
    circuit = ward.begin()
    ward.fill(circuit)
    ward.end(circuit)
    with pytest.raises(CautionsFirst):
        ward.take(circuit, manner=Manner.PLANNED, sent=ward.sent())
    ward.at("consultant").hold("circuit", circuit)
    planned = {"manner": Manner.PLANNED, "reason": "patient-waits", "sent": ward.sent()}
    with pytest.raises(NotAllowed):
        ward.take(circuit, **planned)
    assert ward.take(circuit, **planned, by=ward.people["consultant"]).code == "taken"


def test_an_unknown_tag_goes_on_as_contents_not_recorded(ward: Ward) -> None:
    done = ward.take("", tag_text="no tag of ours")
    assert done.cautions == ("contents-not-recorded",)
    assert str(done.facts["number"]).startswith("X-")
    with pytest.raises(UnknownCode):
        ward.take("C-9999", manner=Manner.PLANNED, sent=ward.sent())


def test_a_second_claim_is_refused_when_planned_and_kept_as_disputed_otherwise(
    ward: Ward,
) -> None:
    circuit = ward.prime()
    ward.take(circuit)
    with pytest.raises(AlreadyOnRun):
        ward.take(circuit, manner=Manner.PLANNED, sent=ward.sent())
    second = ward.take(circuit)
    assert (second.disputed, second.facts["run"]) == (True, "R-0002")
    runs = ward.facts(circuit).runs
    assert sorted(each.disputed for each in runs) == [False, True]


def test_of_sixteen_takes_at_once_one_stands_and_all_are_kept(ward: Ward) -> None:
    circuit = ward.prime()
    with ThreadPoolExecutor(8) as pool:
        answers = list(pool.map(lambda _: ward.take(circuit), range(16)))
    assert sorted(answer.disputed for answer in answers) == [False] + [True] * 15
    with ward.reads() as session:
        assert session.scalar(select(func.count()).select_from(CircuitOnRun)) == 16


def test_flow_on_is_a_second_act_and_may_be_entered_later(ward: Ward) -> None:
    circuit = ward.prime()
    ward.take(circuit)
    taken_at = ward.now
    assert ward.facts(circuit).on_run.flow_from is None  # type: ignore[union-attr]
    ward.now += HOUR
    with pytest.raises(WrongMoment):
        ward.flow_on(circuit, at=taken_at - MINUTE)
    ward.flow_on(circuit, at=taken_at + 5 * MINUTE)
    on_run = ward.facts(circuit).on_run
    assert on_run is not None
    assert (on_run.taken_at, on_run.flow_from) == (taken_at, taken_at + 5 * MINUTE)


def test_flow_on_without_a_take_says_so(ward: Ward) -> None:
    circuit = ward.prime()
    with pytest.raises(NotOnRun):
        ward.flow_on(circuit)


def test_a_wrong_scan_is_taken_back_and_the_circuit_stands_where_it_stood(ward: Ward) -> None:
    circuit = ward.prime()
    ward.take(circuit)
    take_back(TakeBack(sent=ward.sent(), circuit_id=circuit, at=ward.now), site=ward.site)
    facts = ward.facts(circuit)
    assert (facts.state, facts.place, facts.runs) == (State.READY, "console 3", ())


def test_what_came_back_unused_is_ready_again_with_its_old_use_by(ward: Ward) -> None:
    circuit = ward.prime()
    use_by = ward.facts(circuit).use_by
    ward.take(circuit)
    ward.now += 6 * HOUR
    asked = CameBackUnused(
        sent=ward.sent(), circuit_id=circuit, place_id=ward.places["box 3"], at=ward.now
    )
    came_back_unused(asked, site=ward.site)
    facts = ward.facts(circuit)
    assert (facts.state, facts.place, facts.use_by) == (State.READY, "box 3", use_by)
    assert [each.until for each in facts.runs] == [ward.now]
    ward.take(circuit)
    ward.flow_on(circuit)
    with pytest.raises(WrongState):
        came_back_unused(replace(asked, sent=ward.sent()), site=ward.site)


def test_the_patient_stands_in_no_event_and_a_later_identity_adds_a_row(ward: Ward) -> None:
    circuit = ward.prime()
    run = UUID(str(ward.take(circuit).facts["run_id"]))
    assert ward.patient(run).facts["temporary"] == "TEMP-1"
    ward.patient(run, "NSH-100231")
    with ward.reads() as session:
        assert patient_text(session, ward.site.id, run) == "NSH-100231"
        assert "100231" not in "".join(session.scalars(select(LedgerEvent.body)))


def test_a_swap_points_at_the_place_and_scans_only_the_new_part(ward: Ward) -> None:
    circuit = ward.prime(lot="T77-0B1")
    ward.take(circuit)
    ward.flow_on(circuit)
    ward.now += 3 * HOUR
    ward.swap(circuit, "tap-middle", code(TAP, "T81-002"))
    middle = [part for part in ward.facts(circuit).parts if part.slot == "tap-middle"]
    assert [(part.lot, part.until) for part in middle] == [("T77-0B1", ward.now), ("T81-002", None)]
    with pytest.raises(BadScan):
        ward.swap(circuit, "tap-middle", code("09521234000044", "SY"))
    with pytest.raises(UnknownCode):
        ward.swap(circuit, "nowhere", code(TAP, "T81-002"))


def test_a_bag_that_is_changed_leaves_its_fluid_in_the_circuit(ward: Ward) -> None:
    circuit = ward.prime(bag="4K0O17I1")
    ward.take(circuit)
    ward.flow_on(circuit)
    ward.swap(circuit, "saline", code("09521234000020", "NEWBAG"))
    lots = sorted(str(part.lot) for part in ward.facts(circuit).now_in if part.kind == "fluid")
    assert lots == ["4K0O17I1", "4K0O17I1", "NEWBAG"]


def test_a_change_of_circuit_is_one_run_with_two_circuits_and_is_safe_to_send_again(
    ward: Ward,
) -> None:
    old, new = ward.prime(), ward.prime()
    run = UUID(str(ward.take(old).facts["run_id"]))
    ward.flow_on(old)
    ward.now += 24 * HOUR
    asked = ChangeOut(
        sent=ward.sent(),
        old_circuit_id=old,
        run_id=run,
        new_number=ward.number(new),
        off_at=ward.now,
        on_at=ward.now + 4 * MINUTE,
    )
    first = change_out(asked, site=ward.site)
    assert change_out(asked, site=ward.site) == first
    with ward.reads() as session:
        found = run_facts(session, ward.site.id, "R-0001")
    assert found is not None
    assert [(each.number, each.until is None) for each in found.circuits] == [
        (ward.number(old), False),
        (ward.number(new), True),
    ]


def test_ending_a_run_takes_off_what_is_on(ward: Ward) -> None:
    circuit = ward.prime()
    run = UUID(str(ward.take(circuit).facts["run_id"]))
    ward.flow_on(circuit)
    ward.now += HOUR
    ward.end_run(run)
    assert state(ward, circuit) is State.ENDED
    with pytest.raises(WrongMoment):
        ward.end_run(run)
    with pytest.raises(WrongState):
        ward.take(circuit, manner=Manner.PLANNED, sent=ward.sent())


def test_the_shelf_counts_what_is_ready_and_since_when_a_place_has_none(ward: Ward) -> None:
    circuit = ward.prime()
    with ward.reads() as session:
        found = shelf(session, ward.site.id, ward.now)
    assert (found.ready, found.target) == (1, 2)
    ward.now += 3 * HOUR
    ward.take(circuit)
    taken_at = ward.now
    with ward.reads() as session:
        found = shelf(session, ward.site.id, ward.now + HOUR)
    by_place = {each.place.name: each.missing_since for each in found.required}
    assert (found.ready, by_place) == (0, {"console 3": taken_at, "box 3": None})


def test_the_reprime_clock_counts_from_the_use_by_when_nobody_took_the_circuit(
    ward: Ward,
) -> None:
    circuit = ward.prime()
    use_by = ward.facts(circuit).use_by
    with ward.reads() as session:
        found = shelf(session, ward.site.id, NOON + timedelta(days=40))
    console = next(each for each in found.required if each.place.name == "console 3")
    assert console.missing_since == use_by
    assert [each.circuit.id for each in console.not_counted] == [circuit]


def test_an_act_that_needs_a_person_asks_for_one(ward: Ward) -> None:
    circuit = ward.begin()
    with pytest.raises(SignInNeeded):
        ward.at("").scan(circuit, code(TAP, "T1"))
    with pytest.raises(NotAllowed):
        ward.at("pharmacist").begin()


def test_numbers_are_given_once_whoever_asks(ward: Ward) -> None:
    with ThreadPoolExecutor(8) as pool:
        list(pool.map(lambda _: ward.begin(), range(12)))
    assert ward.circuits() == [f"C-{number:04d}" for number in range(1, 13)]
    with ward.reads() as session:
        assert session.scalar(select(func.count()).select_from(Circuit)) == 12


def test_a_device_behind_or_ahead_never_makes_a_part_come_after_the_patient(ward: Ward) -> None:
    circuit = ward.begin()
    ward.fill(circuit)
    ahead = ward.now + 8 * MINUTE
    done = ward.scan(circuit, code(TAP, "LATE"), at=ahead)
    assert done.code == "all-recorded"
    ward.go_on(circuit, reason="by-hand", at=ahead)
    ward.end(circuit)
    ward.sign(circuit, "primer")
    ward.take(circuit, at=ward.now + SECOND)
    facts = ward.facts(circuit)
    assert facts.on_run is not None
    assert all(part.from_ <= facts.on_run.taken_at for part in facts.parts)


def test_blood_in_the_prime_limits_the_circuit_to_hours(ward: Ward) -> None:
    # 4 h from entry of a blood container at room temperature, as quoted by blood bankers for primed
    # circuits (California Blood Bank Society e-network forum 2003, at second hand).
    blood = Slot(
        id="blood",
        name="Red cells",
        kind="blood",
        where=Where.FLUID,
        need=Need.LOT,
        substance="Red cells",
    )
    sheet = SetSheet(
        sent=ward.at("stock").sent(),
        circuit_type=TYPE,
        way="wet-closed",
        fill_ml=1500,
        slots=(*SLOTS, blood),
        read_version=1,
    )
    set_sheet(sheet, site=ward.site)
    ward.product("09521234000099", "Red cells", "blood", substance="Red cells")
    circuit = ward.begin()
    ward.fill(circuit)
    ward.scan(circuit, code("09521234000099", "DONATION1"))
    entered = ward.now
    ward.now += 10 * MINUTE
    ward.end(circuit)
    facts = ward.facts(circuit)
    assert (facts.decides["code"], facts.use_by) == ("blood-prime", entered + 4 * HOUR)
