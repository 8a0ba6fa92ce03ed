"""Recall answers from the rows of a store against a list of every arrangement that the facts allow.

Random small histories go in by acts. The reference never reads the store: it takes the facts as
they were told, lists all arrangements of what was not recorded, and judges each. Boxes are left
out: the rows do not hold them, so that the store's answer is wider there, never narrower.
"""

import os
import shutil
from collections.abc import Callable, Iterator
from copy import deepcopy
from dataclasses import dataclass
from typing import Any, Final
from uuid import uuid4

import pytest
from hypothesis import HealthCheck, Phase, assume, given, seed, settings
from hypothesis import strategies as st
from sqlalchemy import delete, insert, select, text

from tests import recall_stories
from tests.domain.shelves.brute_force import Reference, TooMany
from tests.domain.shelves.made_up import LOTS, MAKERS, tight_stock
from tests.servers import PostgresServer
from traceability.actions.once import Site
from traceability.cli.stories import answering
from traceability.cli.stories.answering import Stores
from traceability.cli.stories.entering import Entering
from traceability.cli.stories.form import moment, read_story
from traceability.cli.stories.scope import scope_of, spans
from traceability.domain.exposure import Shelf
from traceability.domain.notice_scope import ProductRef, Said, Scope, ScopeClause, ScopeTest
from traceability.domain.shelves.situation import Situation
from traceability.recall.answer import Answer, answer
from traceability.security.keys import new_keys
from traceability.settings import Settings
from traceability.storage.ledger import LedgerHead, canonical
from traceability.storage.metadata import metadata
from traceability.storage.stock import StockBookWord
from traceability.wiring import Services, wire

OF_SQLITE: Final = [f"sqlite-{number}" for number in range(8)]
OF_POSTGRESQL: Final = [f"postgresql-{number}" for number in range(4)]
HISTORIES: Final = {"sqlite": 125, "postgresql": 50}
"""In each part: 1,000 on SQLite and 200 on PostgreSQL, in parts that may run side by side."""
LONG: Final = 20 if os.environ.get("HYPOTHESIS_PROFILE") == "long" else 1


@dataclass(slots=True)
class Store:
    """A store that is as new for each history."""

    services: Services
    site: Site
    anew: Callable[[], None]


@pytest.fixture(scope="module")
def sqlite_store(tmp_path_factory: pytest.TempPathFactory) -> Store:
    stores = Stores(tmp_path_factory.mktemp("histories"))

    def anew() -> None:
        stores.services.close()
        for each in stores.file.parent.glob("story.db*"):
            each.unlink()
        shutil.copyfile(stores.empty, stores.file)

    return Store(stores.services, stores.site, anew)


@pytest.fixture(scope="module")
def postgresql_store(
    postgres_server: PostgresServer,
    postgresql_template: str,
    tmp_path_factory: pytest.TempPathFactory,
) -> Iterator[Store]:
    name = postgres_server.create(template=postgresql_template)
    settings = Settings(
        database_url=postgres_server.url(name),
        var_dir=tmp_path_factory.mktemp("histories"),
        zone="UTC",
        practice=True,
    )
    services = wire(settings, keys=new_keys())
    site = services.site_of(uuid4(), lambda: answering.BEFORE_ALL)
    answering._set_up(site)
    with services.reads() as session:
        rows = {
            table: [dict(row) for row in session.execute(select(table)).mappings()]
            for table in metadata.sorted_tables
        }

    def anew() -> None:
        # Emptied and filled again: ten times as fast as another database for each history.
        with services.writer.begin() as connection:
            connection.execute(text("SET LOCAL session_replication_role = replica"))
            for table, first in rows.items():
                connection.execute(delete(table))
                if first:
                    connection.execute(insert(table), first)

    yield Store(services, site, anew)
    services.close()
    postgres_server.drop(name)


@pytest.fixture
def store(part: str, request: pytest.FixtureRequest) -> Store:
    return request.getfixturevalue(f"{part.partition('-')[0]}_store")  # type: ignore[no-any-return]


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


@pytest.mark.parametrize("part", [*OF_SQLITE, *OF_POSTGRESQL])
def test_the_rows_say_what_all_arrangements_of_the_facts_say(store: Store, part: str) -> None:
    """Each part has its own seed: the same run finds the same fault, no two parts the same ones."""
    database, number = part.split("-")

    @seed(int(number) + 100 * (database == "postgresql"))
    @settings(
        max_examples=HISTORIES[database] * LONG,
        suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
        deadline=None,
        derandomize=False,
        database=None,
        phases=[Phase.generate],  # a history is small; making it smaller takes minutes
    )
    @given(histories())
    def agree(story: dict[str, Any]) -> None:
        _agree(store, story)

    agree()


def _agree(store: Store, story: dict[str, Any]) -> None:
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
    found, entering = _entered(store, story)
    names = {circuit: name for name, circuit in entering.circuits.items()}
    said = {names[row.circuit_id]: _row(row.shelf, row.reasons) for row in found.circuits}
    excluded = {"shelf": "excluded"}
    wider = _is_wider(situation, found)
    if not found.kinds:
        said = {name: _no_book(row) for name, row in said.items()}
    for name, wanted in expected["circuits"].items():
        row = said.get(name, excluded)
        assert row == wanted or (wider and _says_less(row, wanted)), name
    _patients_agree(found, expected["patients"], situation, names)
    cover = expected["coverage"]
    assert (found.coverage.circuits, found.coverage.unknown) == (
        cover["circuits"],
        cover["foreign_unknown"],
    )


def _is_wider(situation: Situation, found: Answer) -> bool:
    """Tell whether the rows know less than the arrangements: which product's unit a piece took.

    A piece with a lot and no maker is a product of its own in the store, whose book is not the
    book of the product it may have been. Of a product that was never entered here, no book can say
    that none came.
    """
    makerless = any(use.part.maker is None and use.part.lot for use in situation.uses)
    return makerless or not found.kinds


def _no_book(row: dict[str, Any]) -> dict[str, Any]:
    """Of a product that the store has never heard of it has no book that could be complete."""
    if "reasons" not in row:
        return row
    return row | {"reasons": [each for each in row["reasons"] if each != "stock_book_incomplete"]}


def _says_less(row: dict[str, Any], wanted: dict[str, Any]) -> bool:
    """Tell whether it stands open where the arrangements decide: never the other way round."""
    decided = wanted["shelf"] in {Shelf.INFERRED, Shelf.EXCLUDED}
    return bool(row["shelf"] == Shelf.CANNOT_BE_EXCLUDED) and decided


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


def _entered(store: Store, story: dict[str, Any]) -> tuple[Answer, Entering]:
    """Enter the history by acts, say that the books are complete, and ask."""
    store.anew()
    entering = answering._entered(store.site, read_story(canonical(story).encode()))
    if story["stock_book_complete"]["TAP"]:
        _complete(store, entering)
    with store.services.reads() as session:
        now = moment(story["questions"][0]["as_of"])
        scope = _scope(story["questions"][0]["scope"])
        return answer(session, scope, zone=entering.site.zone, now=now), entering


def _complete(store: Store, entering: Entering) -> None:
    with store.services.writes.begin() as session:
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
        told = _row(rows[0].shelf, rows[0].reasons) if rows else {"shelf": "excluded"}
        told = told if found.kinds else _no_book(told)
        if _is_wider(situation, found) and _says_less(told, wanted):
            continue
        assert len(rows) <= 1
        assert told == {key: wanted[key] for key in ("shelf", "reasons") if key in wanted}
        for row in rows:
            times = row.sure if row.shelf is Shelf.CONFIRMED else row.possible
            assert spans(times) == spans(wanted["intervals"])
