"""What is told afterwards, on circuits and machines in any state: taken in, kept, and answered.

Source: common practice, no source; settled in review with people of the trade.
"""

from dataclasses import replace
from typing import Any
from uuid import UUID, uuid4

import pytest
from sqlalchemy import select

from tests.make import HOUR, MINUTE, SALINE, TAP, TAPS, TYPE, Ward
from tests.recall.asking import asked, confirmed, may_be, numbers
from traceability.actions.circuit.foreign import TakeInForeign, take_in_foreign
from traceability.actions.corrections.as_told import CorrectAsTold, correct_as_told
from traceability.actions.corrections.merge_references import MergeReferences, merge_references
from traceability.actions.equipment.late import (
    EndUseLate,
    EnterUseLate,
    end_use_late,
    enter_use_late,
)
from traceability.actions.once import Done
from traceability.actions.prime.late import EnterPrimeLate, LatePart, enter_prime_late
from traceability.actions.run.swap_late import EnterSwapLate, enter_swap_late
from traceability.domain.keys import lot_key, product_key
from traceability.domain.shelves import facts as told
from traceability.errors import BadValue, NotAllowed, UnknownCode
from traceability.recall.told import told_facts
from traceability.storage.circuits import Part
from traceability.storage.equipment import EquipmentUse
from traceability.storage.items import Lot
from traceability.storage.rebuild import rebuild


def product(ward: Ward, gtin: str) -> UUID:
    return product_key("gs1", gtin, site_id=ward.site.id)


def tap(ward: Ward, lot: str | None = "T9", slot: str = TAPS[0]) -> LatePart:
    return LatePart(slot=slot, product_id=product(ward, TAP), lot_text=lot)


def swapped(ward: Ward, circuit: UUID, **changes: Any) -> Done:
    usual = EnterSwapLate(sent=ward.sent(), circuit_id=circuit, at=ward.now)
    return enter_swap_late(replace(usual, **changes), site=ward.site)


def primed_late(ward: Ward, circuit: UUID | None, **changes: Any) -> Done:
    usual = EnterPrimeLate(
        sent=ward.sent(),
        circuit_type=TYPE,
        begun_at=ward.now - 5 * HOUR,
        ended_at=ward.now - 4 * HOUR,
        parts=(tap(ward),),
        circuit_id=circuit,
        lots_not_recorded=True,
    )
    return enter_prime_late(replace(usual, **changes), site=ward.site)


def facts(ward: Ward) -> list[told.Fact]:
    with ward.reads() as reads:
        return list(told_facts(reads, ward.site.id))


def same_after_rebuild(ward: Ward) -> None:
    with ward.services.writes.begin() as session:
        assert rebuild(session, ward.site.id).changed == ()


def in_place(ward: Ward, circuit: UUID, slot: str) -> list[Part]:
    with ward.reads() as reads:
        rows = select(Part).filter_by(circuit_id=circuit, slot=slot, superseded_no=None)
        return list(reads.scalars(rows.order_by(Part.valid_from, Part.recorded_no)))


def test_a_swap_from_paper_counts_from_its_own_hour_in_whatever_state_the_circuit_is(
    ward: Ward,
) -> None:
    circuit = ward.prime()
    ward.take(circuit)
    ward.flow_on(circuit)
    ward.now += 5 * HOUR
    ward.flow_off(circuit, at=ward.now - HOUR)
    ward.discard(circuit)
    then = ward.now - 3 * HOUR
    done = swapped(ward, circuit, at=then, out_slot=TAPS[0], part_in=tap(ward, "T9"))
    assert "lot" in done.facts
    old, new = in_place(ward, circuit, TAPS[0])
    assert (old.valid_to, new.valid_from, new.valid_to) == (then, then, None)
    assert new.lot_id == lot_key(product(ward, TAP), "T9")
    swap = next(f for f in facts(ward) if f.id == str(done.last_no))
    assert isinstance(swap, told.Swap)
    assert (swap.at, swap.out) == (then, str(old.part_id))
    assert swap.part_in is not None
    assert swap.part_in.lot == "T9"
    same_after_rebuild(ward)


def test_what_stands_in_a_place_is_not_pushed_out_by_a_part_that_took_another_ones(
    ward: Ward,
) -> None:
    circuit = ward.prime()
    swapped(ward, circuit, out_slot=TAPS[0], part_in=tap(ward, slot=TAPS[1]))
    assert [part.valid_to is None for part in in_place(ward, circuit, TAPS[0])] == [False]
    assert len([p for p in in_place(ward, circuit, TAPS[1]) if p.valid_to is None]) == 2


def test_a_prime_entered_after_the_patient_answers_and_earlier_answers_repeat(ward: Ward) -> None:
    taken = ward.take("", tag_text="no tag of ours")
    circuit = taken.subject
    assert circuit is not None
    ward.flow_on(circuit)
    ward.now += HOUR
    gone = swapped(ward, circuit, at=ward.now - 10 * MINUTE, out_slot=TAPS[0])
    assert "part-out-not-recorded" in gone.cautions
    ward.now += HOUR
    done = primed_late(ward, circuit)
    assert done.subject == circuit
    number = ward.number(circuit)
    assert numbers(confirmed(asked(ward, TAP, "T9"))) == [number]
    before = asked(ward, TAP, "T9", as_of_no=gone.last_no)
    assert numbers(may_be(before)) == [number]
    prime = next(f for f in facts(ward) if isinstance(f, told.Prime))
    swap = next(f for f in facts(ward) if isinstance(f, told.Swap))
    assert swap.out == prime.parts[0].p, "who says later what was in that place means this part"
    assert "primed-before" in primed_late(ward, circuit).cautions
    same_after_rebuild(ward)


def test_a_unit_that_a_swap_put_in_and_the_paper_names_too_is_kept_twice_and_disputed(
    ward: Ward,
) -> None:
    """Else the second entry would meet the rule that a unit is in one place, and never come in."""
    circuit = ward.take("", tag_text="no tag of ours").subject
    assert circuit is not None
    ward.now += HOUR
    one = replace(tap(ward, slot=TAPS[1]), serial="S-1")
    assert not swapped(ward, circuit, part_in=one).disputed
    assert primed_late(ward, circuit, parts=(replace(one, slot=TAPS[0]),)).disputed
    same_after_rebuild(ward)


def test_a_circuit_of_ours_that_was_elsewhere_is_open_again(ward: Ward) -> None:
    circuit = ward.prime()
    back = TakeInForeign(
        sent=ward.sent(), sender="Inventium North ICU", at=ward.now, circuit_id=circuit
    )
    done = take_in_foreign(back, site=ward.site)
    assert done.facts["number"] == ward.number(circuit)
    assert ward.facts(circuit).contents == "not-recorded"
    assert [f.at for f in facts(ward) if isinstance(f, told.ForeignIn)] == [ward.now]
    with pytest.raises(UnknownCode):
        take_in_foreign(replace(back, sent=ward.sent(), circuit_id=uuid4()), site=ward.site)
    same_after_rebuild(ward)


def test_references_are_joined_as_the_register_says_also_of_people_nobody_met(ward: Ward) -> None:
    bedside = ward.at("bedside")
    runs = []
    for reference in ("K-1", "K-1", "K-2"):
        circuit = ward.prime()
        taken = ward.take(circuit)
        ward.flow_on(circuit)
        runs.append(UUID(str(taken.facts["run_id"])))
        ward.patient(runs[-1], reference)

    def joined(source: str, into: str) -> Done:
        asked = MergeReferences(sent=bedside.sent(), source=source, into=into, at=ward.now)
        return merge_references(asked, site=ward.site)

    first = joined("K-1", "K-9")
    assert first.last_no - first.first_no == 1, "both patients who go by it"
    joined("K-9", "K-2")
    for source, into in (("K-2", "K-1"), ("K-9", "K-9"), ("K-2", "K-9")):
        with pytest.raises(BadValue):
            joined(source, into)
    merges = [(f.source, f.into) for f in facts(ward) if isinstance(f, told.Merge)]
    assert merges[-3:] == [("K-1", "K-9"), ("K-1", "K-9"), ("K-9", "K-2")]
    same_after_rebuild(ward)


def test_a_machine_from_paper_is_kept_in_both_places(ward: Ward) -> None:
    circuits = [ward.prime(), ward.prime()]
    use = uuid4()
    end_use_late(EndUseLate(sent=ward.sent(), use_id=use, at=ward.now), site=ward.site)
    uses = [
        enter_use_late(
            EnterUseLate(
                sent=ward.sent(),
                circuit_id=circuit,
                at=ward.now - HOUR,
                what="heater-cooler",
                product_id=product(ward, SALINE),
                serial="WU-1",
                use_id=use,
            ),
            site=ward.site,
        )
        for circuit in circuits
    ]
    assert [each.disputed for each in uses] == [False, True]
    on = [f for f in facts(ward) if isinstance(f, told.EquipOn | told.EquipOff)]
    assert {f.p for f in on} == {str(use)}
    with ward.reads() as reads:
        assert len(reads.scalars(select(EquipmentUse)).all()) == 2
    same_after_rebuild(ward)


def test_a_correction_as_told_is_entered_also_where_rows_cannot_follow(ward: Ward) -> None:
    circuit = ward.prime()
    ward.take(circuit)
    on = ward.flow_on(circuit)
    usual = CorrectAsTold(
        sent=ward.at("consultant").sent(),
        of=on.last_no,
        changes={"at": (ward.now - HOUR).isoformat(timespec="microseconds")},
        note="The chart says so",
        at=ward.now,
    )
    done = correct_as_told(usual, site=ward.site)
    word = next(f for f in facts(ward) if f.id == str(done.last_no))
    assert isinstance(word, told.Correction)
    assert (word.of, word.changes) == (str(on.last_no), {"at": ward.now - HOUR})
    void = replace(usual, sent=ward.at("consultant").sent(), of=done.last_no, changes={}, void=True)
    taken_back = correct_as_told(void, site=ward.site)
    assert any(
        isinstance(f, told.Correction) and f.void and f.of == word.id
        for f in facts(ward)
        if f.id == str(taken_back.last_no)
    )
    with pytest.raises(NotAllowed):
        correct_as_told(replace(void, sent=ward.at("primer").sent()), site=ward.site)
    unknown = replace(void, sent=ward.at("consultant").sent(), of=99_999)
    with pytest.raises(UnknownCode):
        correct_as_told(unknown, site=ward.site)
    same_after_rebuild(ward)


def test_a_voided_prime_of_a_circuit_in_use_leaves_its_contents_open(ward: Ward) -> None:
    primed = primed_late(ward, None)
    circuit = primed.subject
    assert circuit is not None
    ward.take(circuit)
    ward.flow_on(circuit)
    void = CorrectAsTold(
        sent=ward.at("consultant").sent(),
        of=primed.last_no,
        void=True,
        note="It was another circuit's paper",
        at=ward.now,
    )
    correct_as_told(void, site=ward.site)
    with ward.reads() as reads:
        lot = reads.get_one(Lot, (ward.site.id, lot_key(product(ward, TAP), "T9")))
        assert lot.text == "T9"
    found = asked(ward, TAP, "T9")
    assert numbers(may_be(found)) == [ward.number(circuit)]
    assert found.coverage.unknown == 1
    same_after_rebuild(ward)
