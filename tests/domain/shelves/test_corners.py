"""Corners of the shelves that random stories seldom reach. Own definitions, no source."""

from typing import Any

import pytest

from tests.domain.shelves.made_up import ITEMS, MAKERS, at
from tests.recall_stories import read
from traceability.cli.stories.scope import scope_of
from traceability.domain.exposure import Shelf
from traceability.domain.shelves.answer import answer
from traceability.domain.shelves.changes import changes
from traceability.domain.shelves.equipment import EquipmentPlacings

L2 = {"kind": "lots", "maker": MAKERS[0], "item": "TAP", "lots": ["L2"]}


def told(*facts: dict[str, Any], asked: dict[str, Any] = L2, as_of: str = at(70)) -> dict[str, Any]:
    numbered = [{"id": f"f{n}", "at": at(n)} | fact for n, fact in enumerate(facts)]
    story = read(
        {
            "id": "corner",
            "zone": "Europe/Stockholm",
            "items": ITEMS,
            "stock_book_complete": {"TAP": True},
            "facts": numbered,
        }
    )
    return story.ask({"as_of": as_of, "scope": asked})


def receipt(lot: str, qty: int = 1, **more: Any) -> dict[str, Any]:
    return {"type": "receipt", "item": "TAP", "maker": MAKERS[0], "lot": lot, "qty": qty, **more}


def prime(circuit: str, *parts: dict[str, Any], **more: Any) -> dict[str, Any]:
    made = [
        {"p": f"{circuit}{n}", "item": "TAP", "maker": MAKERS[0], "lot": None} | part
        for n, part in enumerate(parts)
    ]
    return {"type": "prime", "circuit": circuit, "parts": made, **more}


@pytest.mark.parametrize(
    ("box", "shelf"),
    [("B1", "excluded"), (None, "cannot_be_excluded"), ("B9", "cannot_be_excluded")],
)
def test_a_recorded_part_takes_its_unit_from_the_box_it_names(box: str | None, shelf: str) -> None:
    """A box in which its lot never came says nothing."""
    found = told(
        receipt("L2", box="B1"),
        receipt("L2", box="B2"),
        receipt("L3", box="B1"),
        prime("C1", {"lot": "L2", "box": box}),
        prime("C2", {"box": "B1"}),
    )
    assert found["circuits"]["C2"]["shelf"] == shelf


def test_a_book_that_contradicts_itself_narrows_nothing_and_says_so() -> None:
    facts = (
        receipt("L2"),
        receipt("L3", 5),
        prime("C1", {"lot": "L2"}, {"lot": "L2"}),
        prime("C2", {}),
    )
    found = told(*facts)
    assert found["stock_left"] is None
    assert found["circuits"]["C2"] == {
        "shelf": "cannot_be_excluded",
        "reasons": ["stock_book_incomplete"],
    }
    numbered = [{"id": f"f{n}", "at": at(n)} | fact for n, fact in enumerate(facts)]
    story = read(
        {
            "id": "corner",
            "zone": "UTC",
            "items": ITEMS,
            "stock_book_complete": {"TAP": True},
            "facts": numbered,
        }
    )
    assert answer(scope_of(L2), story.at(at(70))).contradicted == ("TAP",)


def test_two_parts_are_judged_together_also_over_two_circuits_of_a_patient() -> None:
    found = told(
        receipt("L2", 5),
        receipt("L3", 1),
        prime("C1", {}),
        prime("C2", {}),
        {"type": "connect", "circuit": "C1", "patient": "P1"},
        {"type": "disconnect", "circuit": "C1"},
        {"type": "connect", "circuit": "C2", "patient": "P1"},
    )
    assert {row["shelf"] for row in found["circuits"].values()} == {"cannot_be_excluded"}
    assert found["patients"]["P1"]["shelf"] == "inferred"


def test_two_clauses_can_settle_one_part_together() -> None:
    by_lot = [L2 | {"lots": [lot]} for lot in ("L2", "L3")]
    facts = (receipt("L2"), receipt("L3"), prime("C1", {}))
    found = told(*facts, asked={"kind": "any_of", "scopes": by_lot})
    assert found["circuits"]["C1"] == {"shelf": "inferred"}


def test_a_search_that_runs_out_of_steps_never_clears_and_never_convicts() -> None:
    """Three heaters at once, three registered: each circuit's is certain only after a search."""
    facts: list[dict[str, Any]] = [
        {"type": "equip_register", "item": "WARM", "maker": MAKERS[0], "serial": f"W-{n}"}
        for n in range(3)
    ]
    facts += [
        {
            "type": "equip_on",
            "circuit": f"C{n}",
            "p": f"w{n}",
            "item": "WARM",
            "maker": MAKERS[0],
            "serial": None,
        }
        for n in range(4)
    ]
    story = read(
        {
            "id": "corner",
            "zone": "UTC",
            "items": ITEMS,
            "facts": [{"id": f"f{n}", "at": at(n)} | fact for n, fact in enumerate(facts)],
        }
    )
    four_at_once = story.at(at(70))
    three_at_once = story.at(at(5))
    assert not EquipmentPlacings(situation=four_at_once, item="WARM").feasible
    assert EquipmentPlacings(situation=four_at_once, item="WARM", budget=2).feasible
    for budget, can_avoid in ((20_000, False), (2, True)):
        placings = EquipmentPlacings(situation=three_at_once, item="WARM", budget=budget)
        banned = {key: frozenset({(MAKERS[0], "W-1")}) for key in placings.open_uses}
        assert placings.can_avoid(banned) is can_avoid


def test_a_correction_of_a_correction_of_a_correction_takes_back_the_taking_back() -> None:
    base = (receipt("L2"), receipt("L3"), prime("C1", {"lot": "L3"}))
    fix = {"type": "correction", "of": "f2", "part": "C10", "set": {"lot": "L2"}}
    undo = {"type": "correction", "of": "f3", "void": True}
    again = {"type": "correction", "of": "f4", "void": True}
    shelves = [
        told(*base, *words)["circuits"]["C1"]["shelf"]
        for words in ((), (fix,), (fix, undo), (fix, undo, again))
    ]
    assert shelves == ["excluded", "confirmed", "excluded", "confirmed"]


def test_two_corrections_that_void_each_other_end_the_question() -> None:
    found = told(
        receipt("L2"),
        prime("C1", {"lot": "L2"}),
        {"type": "correction", "of": "f3", "void": True},
        {"type": "correction", "of": "f2", "void": True},
    )
    assert found["circuits"]["C1"]["shelf"] == "confirmed"


def test_merges_that_run_in_a_ring_are_one_person_whoever_is_asked_first() -> None:
    ring = [{"type": "merge", "from": a, "into": b} for a, b in [("P2", "P3"), ("P3", "P2")]]
    found = told(
        receipt("L2", 2),
        prime("C1", {"lot": "L2"}),
        {"type": "connect", "circuit": "C1", "patient": "P2"},
        {"type": "disconnect", "circuit": "C1"},
        {"type": "connect", "circuit": "C1", "patient": "P3"},
        *ring,
    )
    assert list(found["patients"]) == ["P2"]
    assert len(found["patients"]["P2"]["intervals"]) == 2


def test_a_correction_of_a_field_that_is_not_there_is_refused() -> None:
    with pytest.raises(ValueError, match="colour"):
        told(
            receipt("L2"), {"type": "correction", "of": "f0", "set": {"colour": "red"}, "by": "K1"}
        )


def test_what_a_later_answer_changed_is_sorted_into_four_groups() -> None:
    kept, open_, out = Shelf.CONFIRMED, Shelf.CANNOT_BE_EXCLUDED, Shelf.EXCLUDED
    before = {"C1": kept, "C2": open_, "C3": open_, "C4": out, "C5": out}
    after = {"C1": kept, "C2": kept, "C3": out, "C4": open_, "C5": out, "C6": open_}
    found = changes(before, after)
    assert (found.unchanged, found.moved, found.cleared) == (("C1",), ("C2",), ("C3",))
    assert found.added == ("C4", "C6")
