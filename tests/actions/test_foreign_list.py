"""A sending hospital's list: confirmed in answers, and never a reason to drop a circuit.

Source: what the sending hospital stated counts as recorded, with who stated it; common practice,
no source; settled in review with people of the trade.
"""

from dataclasses import replace
from typing import Any
from uuid import UUID

import pytest

from tests.make import HOUR, OXYGENATOR, PACK, SALINE, TAP, Ward, code
from tests.recall.asking import asked, confirmed, may_be, numbers
from traceability.actions.circuit.foreign_list import ListedPart, ListForeign, list_foreign
from traceability.actions.once import Done
from traceability.domain.keys import product_key
from traceability.errors import BadValue, PrimedHere
from traceability.recall.answer import Answer
from traceability.recall_messages import why_words
from traceability.storage.rebuild import rebuild


def product(ward: Ward, gtin: str) -> UUID:
    return product_key("gs1", gtin, site_id=ward.site.id)


def listed(ward: Ward, circuit: UUID, *parts: ListedPart, **changes: Any) -> Done:
    usual = ListForeign(
        sent=ward.sent(),
        circuit_id=circuit,
        parts=parts,
        complete=True,
        source="Inventium North ICU, by telephone",
        at=ward.now,
    )
    return list_foreign(replace(usual, **changes), site=ward.site)


def tap(ward: Ward, lot: str | None) -> ListedPart:
    return ListedPart(product_id=product(ward, TAP), lot_text=lot)


def shelves(found: Answer) -> tuple[list[str], list[str]]:
    return numbers(confirmed(found)), numbers(may_be(found))


def test_a_stated_lot_is_confirmed_and_says_who_stated_it(ward: Ward) -> None:
    circuit = ward.foreign()
    arrived = ward.now
    ward.take(circuit)
    ward.flow_on(circuit)
    ward.now += 3 * HOUR
    listed(ward, circuit, tap(ward, "T77-0B1"), complete=False)
    found = asked(ward, TAP, "T77-0B1")
    assert shelves(found) == (["X-0001"], [])
    (row,) = confirmed(found)
    assert why_words(row) == "1 × tap, lot T77-0B1, stated by the sending hospital."
    # In force from the arrival, though listed three hours later.
    assert row.parts[0].start == arrived
    assert [span.start for span in row.met[0].sure] == [arrived]


def test_only_a_complete_list_lets_an_answer_pass_a_foreign_circuit_over(ward: Ward) -> None:
    circuit = ward.foreign()
    before = listed(ward, circuit, tap(ward, "T1"), complete=False).last_no
    assert shelves(asked(ward, TAP, "T9")) == ([], ["X-0001"])
    assert asked(ward, TAP, "T9").coverage.unknown == 1
    listed(ward, circuit, tap(ward, "T1"), complete=True)
    assert shelves(asked(ward, TAP, "T9")) == ([], [])
    assert asked(ward, TAP, "T9").coverage.unknown == 0
    # The answer of before repeats as it was.
    assert shelves(asked(ward, TAP, "T9", as_of_no=before)) == ([], ["X-0001"])
    # A later list that is not complete opens it again.
    listed(ward, circuit, tap(ward, "T2"), complete=False)
    assert shelves(asked(ward, TAP, "T9")) == ([], ["X-0001"])


def test_the_newest_list_counts_and_the_one_before_stays_readable(ward: Ward) -> None:
    circuit = ward.foreign()
    first = listed(ward, circuit, tap(ward, "T1"), tap(ward, "T1")).last_no
    listed(ward, circuit, tap(ward, "T2"))
    assert shelves(asked(ward, TAP, "T1")) == ([], [])
    assert shelves(asked(ward, TAP, "T1", as_of_no=first)) == (["X-0001"], [])
    assert [(part.slot, part.ordinal, part.lot) for part in ward.facts(circuit).now_in] == [
        ("tap", 1, "T2")
    ]


def test_a_part_swapped_since_is_not_touched_by_a_newer_list(ward: Ward) -> None:
    circuit = ward.foreign()
    ward.take(circuit)
    ward.flow_on(circuit)
    listed(ward, circuit, tap(ward, "T1"))
    ward.now += HOUR
    ward.swap(circuit, "tap", code(TAP, "T5"))
    ward.now += HOUR
    listed(ward, circuit, tap(ward, "T1"), tap(ward, "T2"))
    inside = sorted(part.lot or "" for part in ward.facts(circuit).now_in)
    assert inside == ["T1", "T2", "T5"]


def test_a_listed_part_without_its_lot_cannot_be_excluded(ward: Ward) -> None:
    circuit = ward.foreign()
    listed(ward, circuit, tap(ward, None))
    found = asked(ward, TAP, "T9")
    assert shelves(found) == ([], ["X-0001"])
    assert may_be(found)[0].reasons == ("lot_not_recorded",)


def test_what_is_inside_a_listed_pack_cannot_be_excluded(ward: Ward) -> None:
    """An inner lot is another fact than the pack's; the list names the pack alone."""
    circuit = ward.foreign()
    pack = ListedPart(product_id=product(ward, PACK), lot_text="PK1")
    listed(ward, circuit, pack, tap(ward, "T1"))
    assert shelves(asked(ward, OXYGENATOR, "3F"))[1] == ["X-0001"]
    assert shelves(asked(ward, TAP, "T9")) == ([], [])
    unknown = ward.foreign()
    done = listed(ward, unknown, ListedPart(kind="circuit-pack"), tap(ward, "T1"))
    assert done.cautions == ("pack-contents-not-known",)
    assert shelves(asked(ward, TAP, "T9")) == ([], ["X-0002"])


def test_a_kind_that_is_a_word_of_the_sender_alone_keeps_the_list_from_being_whole(
    ward: Ward,
) -> None:
    circuit = ward.foreign()
    done = listed(ward, circuit, tap(ward, "T1"), ListedPart(kind="stopcock"))
    assert done.cautions == ("kind-not-known-here",)
    assert shelves(asked(ward, TAP, "T9")) == ([], ["X-0001"])


def test_a_piece_that_is_claimed_twice_is_disputed(ward: Ward) -> None:
    own = ward.prime()
    serial = next(each.serial for each in ward.facts(own).now_in if each.slot == "oxygenator")
    circuit = ward.foreign()
    part = ListedPart(product_id=product(ward, OXYGENATOR), serial=serial)
    assert listed(ward, circuit, part).disputed


def test_a_foreign_circuit_with_a_whole_list_is_taken_without_a_caution(ward: Ward) -> None:
    bare, whole = ward.foreign(), ward.foreign()
    listed(ward, whole, tap(ward, "T1"))
    assert ward.take(bare).cautions == ("contents-not-recorded",)
    assert ward.take(whole).cautions == ()


def test_a_list_that_cannot_be_is_refused(ward: Ward) -> None:
    own, circuit = ward.begin(), ward.foreign()
    with pytest.raises(PrimedHere):
        listed(ward, own, tap(ward, "T1"))
    twice = ListedPart(product_id=product(ward, OXYGENATOR), serial="OX-1")
    for bad in ((), (ListedPart(),), (twice, twice), (replace(tap(ward, "T"), state="good"),)):
        with pytest.raises(BadValue):
            listed(ward, circuit, *bad)
    with pytest.raises(BadValue):
        listed(ward, circuit, tap(ward, "T1"), source=" ")
    assert ward.facts(circuit).now_in == ()


def test_lists_are_repeatable_and_rebuilt_to_the_letter(ward: Ward) -> None:
    circuit = ward.foreign()
    sent = ward.sent()
    parts = (tap(ward, "T1"), ListedPart(product_id=product(ward, SALINE), lot_text="4K"))
    one, two = (listed(ward, circuit, *parts, sent=sent) for _ in range(2))
    assert one == two
    listed(ward, circuit, tap(ward, "T2"))
    with ward.services.writes() as session:
        assert rebuild(session, ward.site.id).changed == ()
        session.rollback()
