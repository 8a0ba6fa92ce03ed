"""Random small stories whose facts were entered late, and corrected; in the form of the stories."""

from typing import Any

from hypothesis import strategies as st

from tests.domain.shelves.made_up import BOXES, CIRCUITS, ITEMS, LOTS, MAKERS, at, clauses, facts

PATIENTS = ["P1", "P2", "P3", "P4"]
LAST = 90
"""Hour by which everything has been entered."""


def _hour(draw: st.DrawFn, first: int = 0) -> str:
    return at(draw(st.integers(first, LAST)))


@st.composite
def stories(draw: st.DrawFn) -> dict[str, Any]:
    """Return a story with questions on it; what is asked for changes with every question."""
    told = [fact for fact in draw(facts()) if fact.get("qty") != 0]
    for fact in told:
        if draw(st.integers(0, 3)) == 0:
            fact["recorded_at"] = max(fact["at"], _hour(draw, 20))
    words = [draw(corrections(told, number)) for number in range(draw(st.integers(0, 3)))]
    told += words
    taken_back = draw(st.booleans())
    if words and taken_back:
        told.append(
            {
                "id": "v9",
                "type": "correction",
                "at": _hour(draw, 40),
                "of": draw(st.sampled_from(words))["id"],
                "void": True,
            }
        )
    complete = {item: draw(st.integers(0, 5)) > 0 for item in ("TAP", "PACK", "OXY")}
    return {
        "id": "late",
        "zone": "Europe/Berlin",
        "items": ITEMS,
        "stock_book_complete": complete,
        "facts": draw(st.permutations(told)),
        "questions": [
            {"id": f"q{n}", "as_of": _hour(draw, 40), "scope": draw(clauses())}
            for n in range(draw(st.integers(1, 3)))
        ],
    }


@st.composite
def corrections(draw: st.DrawFn, told: list[dict[str, Any]], number: int) -> dict[str, Any]:
    """Return a correction of one of the facts, or of one part in it."""
    fact = draw(st.sampled_from(told))
    word = {"id": f"c{number}", "type": "correction", "at": _hour(draw, 20), "of": fact["id"]}
    if draw(st.integers(0, 2)) == 0:
        return word | {"void": True}
    parts = [*fact.get("parts", ()), *filter(None, [fact.get("part_in")])]
    of_part = draw(st.booleans())
    if parts and of_part:
        changes = {
            "lot": draw(st.sampled_from([*LOTS, None])),
            "maker": draw(st.sampled_from([*MAKERS, None])),
            "box": draw(st.sampled_from([*BOXES, None])),
        }
        name = draw(st.sampled_from(sorted(changes)))
        part = draw(st.sampled_from(parts))["p"]
        return word | {"part": part, "set": {name: changes[name]}}
    possible: dict[str, Any] = {"at": _hour(draw)}
    if "qty" in fact:
        possible |= {"qty": draw(st.integers(1, 4)), "lot": draw(st.sampled_from(LOTS))}
    if "circuit" in fact and fact["type"] not in {"prime", "foreign_list", "swap"}:
        possible["circuit"] = draw(st.sampled_from(CIRCUITS))
    if "patient" in fact:
        possible["patient"] = draw(st.sampled_from(PATIENTS))
    if "into" in fact:
        possible["into"] = "P3"
    if fact["type"] == "equip_on":
        possible["serial"] = draw(st.sampled_from(["W-1", "W-2", None]))
    name = draw(st.sampled_from(sorted(possible)))
    return word | {"set": {name: possible[name]}}
