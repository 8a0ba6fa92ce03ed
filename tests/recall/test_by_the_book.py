"""What a stock book that a named person declared complete lets an answer say, on both databases."""

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from uuid import UUID

import pytest

from tests.make import HOUR, TAP, TAPS, Ward, code, opened_ward
from tests.recall.asking import asked, key
from tests.stock_acts import Shelves
from traceability.domain.exposure import Shelf
from traceability.errors import BadValue
from traceability.recall.answer import Answer
from traceability.recall_messages import coverage_lines, left_words, why_words

DAY = timedelta(days=1)
UNREAD = ("maker_not_recorded", "stock_book_incomplete")


@pytest.fixture
def ward(url: str, tmp_path: Path) -> Iterator[Ward]:
    with opened_ward(url, tmp_path / "var") as ward:
        yield ward


@pytest.fixture
def shelves(ward: Ward) -> Shelves:
    return Shelves(ward)


def _primed(ward: Ward, *lots: str) -> UUID:
    """Prime with three taps of these lots; "" is one that nobody could read."""
    ward.now += HOUR
    circuit = ward.begin()
    for slot, lot in zip(TAPS, lots, strict=True):
        if lot:
            ward.scan(circuit, code(TAP, lot), slot=slot)
        else:
            ward.say(circuit, "lot-not-readable", slot)
    ward.end(circuit, lots_not_recorded=True)
    return circuit


def _said(found: Answer) -> dict[UUID, tuple[str, tuple[str, ...]]]:
    return {row.circuit_id: (str(row.shelf), row.reasons) for row in found.circuits}


def test_a_book_is_declared_only_after_a_count(shelves: Shelves) -> None:
    shelves.receive(code(TAP, "T1"), packs=3)
    with pytest.raises(BadValue):
        shelves.declare(TAP)
    shelves.count(TAP, ("T1", "trolley 1", 3))
    assert shelves.declare(TAP).code == "stock-book-complete"


def test_the_only_lot_on_the_shelf_is_inferred_and_others_are_excluded(
    ward: Ward, shelves: Shelves
) -> None:
    shelves.receive(code(TAP, "T1"), packs=5)
    unread = _primed(ward, "T1", "T1", "")
    only = _primed(ward, "", "", "")  # more than had come: the book contradicts itself
    shelves.count(TAP, ("T1", "trolley 1", 3))
    before = asked(ward, TAP, "T2")
    assert _said(before) == dict.fromkeys((unread, only), ("cannot_be_excluded", UNREAD))
    assert before.not_narrowed == ("tap",)
    shelves.declare(TAP)
    contradicted = asked(ward, TAP, "T2")
    assert _said(contradicted) == _said(before)
    assert contradicted.contradicted == ("tap",)
    assert "contradicts itself" in coverage_lines(contradicted, ward.site.zone)[2]
    # A forgotten delivery is entered: there is no other way left than T1.
    shelves.receive(code(TAP, "T1"), packs=2, at=ward.now - DAY)
    found = asked(ward, TAP, "T1")
    assert _said(found) == {unread: ("confirmed", ()), only: ("inferred", ())}
    (row,) = found.circuits_on(Shelf.INFERRED)
    assert {part.may_be for part in row.parts} == {((key(TAP), "T1"),)}
    assert "it can only have been lot T1" in why_words(row)
    assert found.stock_left == {(key(TAP), "T1"): (1, 1)}
    assert left_words(found) == ["Of lot T1 1 must be left by the stock book."]
    nothing = asked(ward, TAP, "T2")
    assert (_said(nothing), nothing.excluded) == ({}, 2)
    # What was said before stays as it was.
    assert _said(asked(ward, TAP, "T2", as_of_no=before.cut.number)) == _said(before)


def test_taps_of_one_circuit_are_judged_together(ward: Ward, shelves: Shelves) -> None:
    for lot in ("T1", "T2"):
        shelves.receive(code(TAP, lot), packs=2)
    shelves.count(TAP, ("T1", "trolley 1", 2), ("T2", "trolley 1", 2))
    shelves.declare(TAP)
    three = _primed(ward, "", "", "")
    one = _primed(ward, "X", "X", "")
    for lot in ("T1", "T2"):
        found = asked(ward, TAP, lot)
        # Four free units, four unread taps: who took three took at least one of each lot.
        assert _said(found)[three] == ("inferred", ())
        assert _said(found)[one] == (
            "cannot_be_excluded",
            ("lot_not_recorded", "maker_not_recorded"),
        )
        (together,) = found.circuits_on(Shelf.INFERRED)
        assert {part.shelf for part in together.parts} == {Shelf.CANNOT_BE_EXCLUDED}
        assert "at least one must be it" in why_words(together)
        assert found.stock_left == {(key(TAP), lot): (0, 0)}
    assert _said(asked(ward, TAP, "T3")) == {}


def test_a_unit_that_came_later_or_went_elsewhere_is_no_choice(
    ward: Ward, shelves: Shelves
) -> None:
    shelves.receive(code(TAP, "T1"), packs=5)
    shelves.count(TAP, ("T1", "trolley 1", 5))
    shelves.declare(TAP)
    before = _primed(ward, "T1", "T1", "")
    shelves.out(TAP, "T1", 2, "trolley 1")
    ward.now += DAY
    shelves.receive(code(TAP, "T2"), packs=3)
    after = _primed(ward, "T2", "T2", "")
    assert _said(asked(ward, TAP, "T2")) == {after: ("confirmed", ())}
    assert _said(asked(ward, TAP, "T1")) == {before: ("confirmed", ())}
    found = asked(ward, TAP, "T2")
    assert found.stock_left == {(key(TAP), "T2"): (0, 0)}


def test_a_count_that_differs_ends_the_word_and_earlier_answers_stay(
    ward: Ward, shelves: Shelves
) -> None:
    shelves.receive(code(TAP, "T1"), packs=9)
    shelves.count(TAP, ("T1", "trolley 1", 9))
    shelves.declare(TAP)
    unread = _primed(ward, "", "", "")
    narrowed = asked(ward, TAP, "T1")
    assert _said(narrowed) == {unread: ("inferred", ())}
    assert narrowed.stock_left == {(key(TAP), "T1"): (6, 6)}
    ward.now += HOUR
    shelves.count(TAP, ("T1", "trolley 1", 2))
    found = asked(ward, TAP, "T1")
    assert _said(found) == {unread: ("cannot_be_excluded", UNREAD)}
    assert found.stock_left == {(key(TAP), "T1"): None}
    assert found.not_narrowed == ("tap",)
    again = asked(ward, TAP, "T1", as_of_no=narrowed.cut.number)
    assert (again.circuits, again.patients, again.coverage) == (
        narrowed.circuits,
        narrowed.patients,
        narrowed.coverage,
    )
    shelves.declare(TAP)
    assert shelves.declare(TAP, complete=False).code == "stock-book-open"
    assert _said(asked(ward, TAP, "T1")) == _said(found)


def test_an_open_book_of_another_tap_leaves_a_nameless_tap_open(
    ward: Ward, shelves: Shelves
) -> None:
    """Nobody knows whose tap it was: it may be of the product that nobody counts."""
    ward.product("09521234000105", "Other tap", "tap", maker="Mellowick Perfusion")
    shelves.receive(code(TAP, "T1"), packs=3)
    shelves.count(TAP, ("T1", "trolley 1", 3))
    shelves.declare(TAP)
    unread = _primed(ward, "", "", "")
    for lot in ("T1", "T2"):
        shelf, reasons = _said(asked(ward, TAP, lot))[unread]
        assert (shelf, "maker_not_recorded" in reasons) == ("cannot_be_excluded", True)
