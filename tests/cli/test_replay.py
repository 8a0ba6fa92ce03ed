"""`replay`: every question of the stories, bad files, and random stories against the rules alone.

Source of the stories and their answers: tests/data/recall/README.md.
"""

import json
import shutil
import subprocess
import sys
from collections.abc import Iterator
from copy import deepcopy
from pathlib import Path
from typing import Any, Final

import pytest
from hypothesis import given, settings

from tests import recall_stories
from tests.cli.late_words import stories
from traceability.cli.stories import answering
from traceability.cli.stories.answering import Stores
from traceability.cli.stories.form import BadStory, read_story
from traceability.storage.upkeep import check_chain, check_tables

FILES: Final = sorted(recall_stories.HERE.glob("*.json"))
GIVEN: Final = {file.stem.split("_")[0]: json.loads(file.read_text()) for file in FILES}


@pytest.fixture(scope="module")
def stores(tmp_path_factory: pytest.TempPathFactory) -> Stores:
    return Stores(tmp_path_factory.mktemp("stores"))


def run(*files: Path | str) -> tuple[list[dict[str, Any]], int]:
    """Run the command in a process of its own and return its lines and its exit status."""
    done = subprocess.run(
        [sys.executable, "-m", "traceability", "replay", *map(str, files)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.stderr == ""
    return [json.loads(line) for line in done.stdout.splitlines()], done.returncode


@pytest.mark.parametrize("name", GIVEN)
def test_the_record_answers_each_question_as_it_was_worked_out_by_hand(
    name: str, stores: Stores
) -> None:
    story = GIVEN[name]
    answers = list(stores.answers(read_story(json.dumps(story).encode())))
    assert [each["question"] for each in answers] == [each["id"] for each in story["questions"]]
    for question, answered in zip(story["questions"], answers, strict=True):
        assert answered["scenario"] == story["id"]
        expected = question["expect"]
        assert {key: answered.get(key) for key in expected} == expected


def test_the_command_answers_all_files_in_order() -> None:
    lines, status = run(*FILES)
    asked = [
        (story["id"], question["id"])
        for story in (json.loads(file.read_text()) for file in FILES)
        for question in story["questions"]
    ]
    assert status == 0
    assert [(line["scenario"], line["question"]) for line in lines] == asked
    expected = [q["expect"] for file in FILES for q in json.loads(file.read_text())["questions"]]
    for line, expect in zip(lines, expected, strict=True):
        assert {key: line.get(key) for key in expect} == expect
    one_lot = [line for line in lines if "stock_left" in line]
    assert one_lot
    assert any(line["stock_left"] is None for line in one_lot)


@pytest.mark.parametrize("name", GIVEN)
def test_a_story_leaves_a_whole_ledger_and_the_rows_that_it_says(name: str, stores: Stores) -> None:
    shutil.copyfile(stores.empty, stores.file)
    try:
        answering._entered(stores.site, read_story(json.dumps(GIVEN[name]).encode()))
        assert check_chain(stores.services.reads, stores.site.id, []).whole
        assert check_tables(stores.services.writes, stores.site.id).changed == ()
    finally:
        stores.services.close()


def _broken() -> Iterator[tuple[str, str, str]]:
    """Yield what is wrong, the file's text, and what its sentence has to name."""
    yield "not JSON", "{", "not JSON"
    yield "a list", "[]", "not an object"
    yield "deep", "[" * 100_000, "it is"
    yield "a number too large", '{"id": 1e999}', "facts is missing"
    yield "no number", '{"id": NaN}', "NaN"
    good = GIVEN["s1"]

    def changed(**changes: object) -> str:
        return json.dumps({**good, **changes})

    def fact(place: int, **changes: object) -> str:
        facts = deepcopy(good["facts"])
        facts[place] |= changes
        return changed(facts=facts)

    yield "no zone", changed(zone="Mars/Base"), "zone"
    yield "no facts", changed(facts=None), "facts"
    yield "an unknown type", fact(0, type="teleport"), "teleport"
    yield "a missing key", fact(0, item=None), "item"
    yield "a number as lot", fact(0, lot=11), "lot is 11"
    yield "half a piece", fact(0, qty=1.5), "qty is 1.5"
    yield "a time without zone", fact(0, at="2027-03-01T08:00"), "2027-03-01T08:00"
    yield "no such day", fact(0, at="2027-02-30T08:00Z"), "2027-02-30"
    yield "one id twice", fact(0, id=good["facts"][1]["id"]), good["facts"][1]["id"]
    word = {"id": "c", "type": "correction", "at": "2027-05-01T08:00Z", "of": "nothing"}
    yield "a correction of nothing", changed(facts=[*good["facts"], word]), "nothing"
    unknown = {**word, "of": good["facts"][0]["id"], "set": {"colour": "red"}}
    yield "an unknown field", changed(facts=[*good["facts"], unknown]), "colour"
    circle = [
        {"id": f"m{n}", "type": "merge", "at": f"2027-05-0{n}T08:00Z", "from": a, "into": b}
        for n, (a, b) in enumerate((("A", "B"), ("B", "C"), ("C", "A")), start=1)
    ]
    yield "merges in a circle", changed(facts=circle), "m3"
    yield "a lot that is a scope's number", changed(questions=[{"id": "q"}]), "question q"


BROKEN: Final = list(_broken())


@pytest.mark.parametrize(
    ("text", "named"), [each[1:] for each in BROKEN], ids=[b[0] for b in BROKEN]
)
def test_a_file_that_is_no_story_gets_a_sentence(text: str, named: str, stores: Stores) -> None:
    with pytest.raises(BadStory, match=named.replace(".", r"\.")):
        list(stores.answers(read_story(text.encode())))


def test_bad_files_do_not_end_the_others(tmp_path: Path) -> None:
    bad, binary = tmp_path / "bad.json", tmp_path / "binary.json"
    bad.write_text("{")
    binary.write_bytes(b"\xff\xfe\x00{")
    asked = json.loads(FILES[2].read_text())
    asked["questions"].append(
        {"id": "odd", "as_of": "2027-05-01T00:00Z", "scope": {"kind": "lots", "lots": [5]}}
    )
    odd = tmp_path / "odd.json"
    odd.write_text(json.dumps(asked))
    lines, status = run(bad, tmp_path / "missing.json", binary, tmp_path, odd)
    assert status == 0
    assert ["error" in line for line in lines] == [True] * 4 + [False] * 3 + [True]
    assert [line.get("file") for line in lines[:2]] == [str(bad), str(tmp_path / "missing.json")]
    assert lines[-1]["question"] == "odd"
    assert run(bad)[1] == 2


@given(stories())
@settings(max_examples=settings.get_profile("usual").max_examples // 4)
def test_the_record_answers_what_the_rules_say_of_the_facts_themselves(
    stores: Stores, story: dict[str, Any]
) -> None:
    answers = list(stores.answers(read_story(json.dumps(story).encode())))
    told = recall_stories.read(story)
    for question, answered in zip(story["questions"], answers, strict=True):
        expected = told.ask(question)
        assert {key: answered.get(key) for key in expected} == expected
