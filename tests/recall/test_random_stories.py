"""Laws of recall answers, on random stories of real acts and both databases."""

from collections import Counter
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from uuid import UUID

import pytest
from sqlalchemy.orm import Session

from tests.make import OXYGENATOR, PACK, SALINE, SYRINGE, TAP, UNKNOWN, Ward, opened_ward
from tests.recall import oracle
from tests.recall.asking import answered
from tests.recall.story import LOTS, OTHER_TAP, TIE, Story, fill_ward
from traceability.domain.exposure import Shelf
from traceability.domain.keys import product_key
from traceability.domain.spans import Span
from traceability.recall.answer import Answer
from traceability.recall.excluded import excluded_rows
from traceability.recall.question import Question, question_of, scope_of, unknown_product

ACTS = 120
LOOKS = 5
"""How often in a story all questions are asked."""


@pytest.fixture
def ward(url: str, tmp_path: Path) -> Iterator[Ward]:
    with opened_ward(url, tmp_path) as ward:
        fill_ward(ward)
        yield ward


def _key(ward: Ward, identifier: str) -> UUID:
    return product_key("gs1", identifier, site_id=ward.site.id)


def _questions(ward: Ward, session: Session) -> list[Question]:
    tap, other = _key(ward, TAP), _key(ward, OTHER_TAP)
    oxygenator, pack = _key(ward, OXYGENATOR), _key(ward, PACK)
    unknown = unknown_product(session, "gs1", UNKNOWN)
    asked = [
        question_of(session, [], [(tap, LOTS[0])]),
        question_of(session, [], [(other, "0417")]),
        question_of(session, [], [(tap, "NEVER-SEEN")]),
        question_of(session, [], [(tap, "417"), (other, LOTS[1])]),
        question_of(session, [other], []),
        question_of(session, [other], [(tap, "0417")]),
        question_of(session, [], [(_key(ward, SALINE), "4K0")]),
        question_of(session, [], [(_key(ward, SYRINGE), "SY1")]),
        question_of(session, [], [(pack, "PK1")]),
        question_of(session, [_key(ward, TIE)], []),
        question_of(session, [], [], serials=[(oxygenator, "OX-1")]),
        question_of(session, [], [(oxygenator, "OX")]),
        question_of(session, [], [(unknown.id, "L1")], unknown=[unknown]),
    ]
    assert all(asked)
    return [each for each in asked if each]


@pytest.mark.parametrize("seed", range(2))
def test_answers_agree_with_brute_force_and_never_change_afterwards(ward: Ward, seed: int) -> None:
    story = Story(ward, seed)
    with ward.reads() as session:
        questions = _questions(ward, session)
    told: list[tuple[Question, Answer]] = []
    for number in range(ACTS):
        story.go()
        if number % (ACTS // LOOKS) == ACTS // LOOKS - 1:
            with ward.reads() as session:
                told += [(each, answered(session, ward, scope_of(each))) for each in questions]
    with ward.reads() as session:
        store = oracle.read_store(session)
        shelves: Counter[str] = Counter()
        reasons: set[str] = set()
        for question, first in told:
            again = answered(session, ward, scope_of(question), first.cut.number)
            assert _said(again) == _said(first)
            judged = oracle.judge_all(store, question, first.cut.number)
            _agrees(session, again, judged, store)
            shelves.update(each.shelf for each in judged.values())
            runs = [run for one in judged.values() for run in one.runs.values()]
            shelves.update(name for run in runs for name in run.shelves)
            _every_run_is_somebodys(store, again)
            for row in again.circuits:
                reasons.update(row.reasons)
                reasons.update(code for met in row.met for code in met.reasons)
    # A story in which little happens proves little.
    assert min(shelves[name] for name in ("confirmed", "cannot_be_excluded", "excluded")) > 20
    assert len(reasons) >= 10, reasons
    assert len(story.happened) >= 12, story.happened


def _said(told: Answer) -> tuple[object, ...]:
    """Return all that the answer says of the world, without where and when it was asked."""
    return (
        told.circuits,
        told.patients,
        told.excluded,
        told.runs_excluded,
        told.coverage,
        told.digest,
    )


def _agrees(
    session: Session,
    told: Answer,
    judged: dict[UUID, oracle.Judged],
    store: oracle.Store,
) -> None:
    rows = {row.circuit_id: row for row in told.circuits}
    excluded = {row.circuit_id for row in excluded_rows(session, told, limit=10_000)}
    assert rows.keys() | excluded == judged.keys(), "every circuit stands on one shelf"
    assert not rows.keys() & excluded
    assert told.excluded == len(excluded)
    assert told.coverage.circuits == len(judged)
    for circuit_id, expected in judged.items():
        assert (circuit_id in rows) == (expected.shelf != "excluded"), expected
        if circuit_id not in rows:
            continue
        row = rows[circuit_id]
        assert (row.shelf, set(row.reasons)) == (expected.shelf, expected.reasons)
        moments = oracle.moments(store, circuit_id)
        runs: dict[UUID, oracle.RunJudged] = {}
        for met in row.met:
            found = runs.setdefault(met.run_id, oracle.RunJudged())
            found.shelves.add(str(met.shelf))
            found.sure |= {at for at in moments if _in(met.sure, at)}
            found.possible |= {at for at in moments if _in(met.possible, at)}
            if met.shelf is Shelf.CANNOT_BE_EXCLUDED:
                found.reasons |= set(met.reasons)
            assert (met.shelf is Shelf.CONFIRMED) == (not met.reasons)
        assert runs == expected.runs


def _every_run_is_somebodys(store: oracle.Store, told: Answer) -> None:
    """A patient stands as high as the highest of all their runs, and no run is passed over."""
    patients = oracle.patients(store, told.cut.number)
    best: dict[UUID, set[Shelf]] = {}
    for row in told.circuits:
        for met in row.met:
            best.setdefault(patients.get(met.run_id, met.run_id), set()).add(met.shelf)
    expected = {
        key: min(shelves, key=tuple(Shelf).index)
        for key, shelves in best.items()
        if shelves != {Shelf.EXCLUDED}
    }
    assert {row.patient_id or row.run_ids[0]: row.shelf for row in told.patients} == expected
    for patient in told.patients:
        assert patient.patient_id or len(patient.run_ids) == 1
        assert all(patients.get(run) == patient.patient_id for run in patient.run_ids)


def _in(spans: tuple[Span, ...], at: datetime) -> bool:
    return any(one.start <= at and (one.end is None or at < one.end) for one in spans)
