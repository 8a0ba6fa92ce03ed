"""Recall answers from the rows of a store against a list of every arrangement that the facts allow.

Random small histories go in by acts. The reference never reads the store: it takes the facts as
they were told, lists all arrangements of what was not recorded, and judges each. Boxes are left
out: the rows do not hold them, so that the store's answer is wider there, never narrower.
"""

from copy import deepcopy
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from tests import recall_stories
from tests.domain.shelves.brute_force import Reference, TooMany
from tests.domain.shelves.made_up import LOTS, MAKERS, tight_stock
from traceability.cli.stories import answering
from traceability.cli.stories.answering import Stores
from traceability.cli.stories.entering import Entering
from traceability.cli.stories.form import moment, read_story
from traceability.cli.stories.scope import scope_of, spans
from traceability.domain.exposure import Shelf
from traceability.domain.notice_scope import ProductRef, Said, Scope, ScopeClause, ScopeTest
from traceability.domain.shelves.situation import Situation
from traceability.recall.answer import Answer, answer
from traceability.storage.ledger import LedgerHead, canonical
from traceability.storage.stock import StockBookWord


@pytest.fixture(scope="module")
def stores(tmp_path_factory: pytest.TempPathFactory) -> Stores:
    return Stores(tmp_path_factory.mktemp("histories"))


@st.composite
def histories(draw: st.DrawFn) -> dict[str, Any]:
    """A history of one kind of part, of which nearly all that came was used, without boxes."""
    story = deepcopy(draw(tight_stock()))
    for fact in story["facts"]:
        for part in (fact, *fact.get("parts", ())):
            part.pop("box", None)
    circuits = ["C1", "C2", "C3"]
    for circuit in draw(st.lists(st.sampled_from(circuits), max_size=2, unique=True)):
        gone = {"id": f"x{circuit}", "type": "disconnect", "at": "2027-03-03T21:00Z"}
        story["facts"].append(gone | {"circuit": circuit})
    if draw(st.booleans()):
        foreign = {"id": "foreign", "type": "foreign_in", "at": "2027-03-02T00:00Z"}
        on = {"id": "on", "type": "connect", "at": "2027-03-02T01:00Z", "patient": "P3"}
        story["facts"] += [foreign | {"circuit": "X1"}, on | {"circuit": "X1"}]
        if draw(st.booleans()):
            part = {"p": "x", "item": "TAP", "maker": MAKERS[0], "lot": draw(_lot())}
            listed = {"id": "list", "type": "foreign_list", "at": "2027-03-02T02:00Z"}
            whole = {"circuit": "X1", "complete": draw(st.booleans()), "parts": [part]}
            story["facts"].append(listed | whole)
    story["stock_book_complete"] = {"TAP": draw(st.integers(0, 4)) > 0}
    return story


def _lot() -> st.SearchStrategy[str | None]:
    return st.sampled_from([*LOTS, None])


@given(histories())
@settings(
    max_examples=settings.get_profile("usual").max_examples * 2,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
    deadline=None,
)
def test_the_rows_say_what_all_arrangements_of_the_facts_say(
    stores: Stores, story: dict[str, Any]
) -> None:
    question = story["questions"][0]
    clauses = scope_of(question["scope"])
    situation = recall_stories.read(story).at(question["as_of"])
    assume(_is_in_order(situation))
    try:
        reference = Reference(situation, clauses)
        expected = reference.answer(with_stock=False)
    except TooMany:
        assume(condition=False)
        return
    assume(not reference.incomplete)
    found, entering = _entered(stores, story)
    names = {circuit: name for name, circuit in entering.circuits.items()}
    said = {names[row.circuit_id]: _row(row.shelf, row.reasons) for row in found.circuits}
    excluded = {"shelf": "excluded"}
    assert {name: said.get(name, excluded) for name in expected["circuits"]} == expected["circuits"]
    _patients_agree(found, expected["patients"], situation, names)
    cover = expected["coverage"]
    assert (found.coverage.circuits, found.coverage.unknown) == (
        cover["circuits"],
        cover["foreign_unknown"],
    )


def _is_in_order(situation: Situation) -> bool:
    """The book of a product begins with its first receipt: what was used before is not in it."""
    first: dict[str, Any] = {}
    for line in situation.receipts:
        first[line.maker] = min(line.at, first.get(line.maker, line.at))
    return all(
        use.part.maker in first and first[use.part.maker] <= use.start
        for use in situation.uses
        if use.part.lot is not None and use.part.maker is not None and not use.foreign
    )


def _entered(stores: Stores, story: dict[str, Any]) -> tuple[Answer, Entering]:
    """Enter the history by acts, say that the books are complete, and ask."""
    Path(stores.file).write_bytes(Path(stores.empty).read_bytes())
    try:
        entering = answering._entered(stores.site, read_story(canonical(story).encode()))
        if story["stock_book_complete"]["TAP"]:
            _complete(stores, entering)
        with stores.services.reads() as session:
            now = moment(story["questions"][0]["as_of"])
            scope = _scope(story["questions"][0]["scope"])
            zone = entering.site.zone
            return answer(session, scope, zone=zone, now=now), entering
    finally:
        stores.services.close()
        for each in Path(stores.file).parent.glob("story.db*"):
            each.unlink()


def _complete(stores: Stores, entering: Entering) -> None:
    with stores.services.writes.begin() as session:
        number = session.get_one(LedgerHead, entering.site.id).number
        for line, ((_, maker), product_id) in enumerate(entering.products.items()):
            if maker is not None:
                word = StockBookWord(
                    site_id=entering.site.id,
                    recorded_no=number,
                    line=line,
                    valid_from=entering.now,
                    product_id=product_id,
                    complete=True,
                )
                session.add(word)


def _scope(given: dict[str, Any]) -> Scope:
    items = given["items"] if given["kind"] == "models" else [given["item"]]
    refs = tuple(
        ProductRef(standard="none", identifier=f"{item}|{given['maker']}") for item in items
    )
    tests: tuple[ScopeTest, ...] = ()
    if given["kind"] == "lots":
        tests = (ScopeTest(kind=Said.LOTS, texts=tuple(given["lots"])),)
    return Scope(clauses=(ScopeClause(products=refs, tests=tests),))


def _row(shelf: Shelf, reasons: tuple[str, ...]) -> dict[str, Any]:
    said: dict[str, Any] = {"shelf": str(shelf)}
    if shelf is Shelf.CANNOT_BE_EXCLUDED:
        said["reasons"] = list(reasons)
    return said


def _patients_agree(
    found: Answer,
    expected: dict[str, dict[str, Any]],
    situation: Situation,
    names: dict[Any, str],
) -> None:
    """A patient is known by the circuits that were on: the history has no other name for both."""
    circuits: dict[str, set[str]] = {}
    for one in situation.connections:
        circuits.setdefault(one.patient, set()).add(one.circuit)
    by_circuits = {
        frozenset(names[key] for key in row.circuit_ids if key in names): row
        for row in found.patients
    }
    for patient, wanted in expected.items():
        rows = [row for on, row in by_circuits.items() if on and on <= circuits[patient]]
        if wanted["shelf"] == "excluded":
            assert rows == []
            continue
        (row,) = rows
        assert _row(row.shelf, row.reasons) == {
            key: wanted[key] for key in ("shelf", "reasons") if key in wanted
        }
        times = row.sure if row.shelf is Shelf.CONFIRMED else row.possible
        assert spans(times) == spans(wanted["intervals"])
