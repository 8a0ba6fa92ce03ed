"""Laws of corrections, on stories in which anything is done and anything is set right."""

import shutil
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import pairwise
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from sqlalchemy import select
from sqlalchemy.orm import Session

from tests.corrections.mended import Mended
from tests.make import OXYGENATOR, SALINE, TAP, Ward, opened_ward
from tests.recall.asking import answered, scopes
from tests.recall.story import LOTS, OTHER_TAP, fill_ward
from tests.servers import PostgresServer
from traceability.domain.keys import product_key
from traceability.domain.notice_scope import Scope
from traceability.reads.circuits import circuit_facts
from traceability.reads.disputes import disputes
from traceability.reads.runs import run_facts
from traceability.recall.question import question_of
from traceability.storage.circuits import (
    NEVER_WAS,
    Circuit,
    CircuitPhase,
    CircuitPlace,
    Part,
    Prime,
)
from traceability.storage.ledger import LedgerEvent, LedgerHead
from traceability.storage.rebuild import rebuild
from traceability.storage.runs import CircuitOnRun, Run

STEPS = 40


def test_any_order_of_acts_and_corrections_keeps_the_record_whole(sqlite_template: Path) -> None:
    met: Counter[str] = Counter()

    @given(seed=st.integers(0, 2**32), chance=st.integers(3, 6))
    @settings(max_examples=6, phases=(Phase.explicit, Phase.generate))
    def law(seed: int, chance: int) -> None:
        dice = Random(seed)  # noqa: S311 - the same story for the same seed
        with TemporaryDirectory() as folder:
            file = Path(folder) / "law.db"
            shutil.copyfile(sqlite_template, file)
            met.update(_lives(f"sqlite:///{file}", Path(folder), dice, chance))

    law()
    # A story in which nothing is set right proves nothing.
    wanted = {"mend_part", "mend_time", "void", "void_correction", "cannot-correct"}
    assert wanted <= set(met), met


@pytest.mark.parametrize("seed", range(2))
def test_the_same_holds_on_postgresql(
    postgres_server: PostgresServer, postgresql_template: str, tmp_path: Path, seed: int
) -> None:
    with _copy(postgres_server, postgresql_template) as url:
        assert _lives(url, tmp_path, Random(seed), 5)["mend_part"]  # noqa: S311 - a story's dice


@contextmanager
def _copy(server: PostgresServer, template: str) -> Iterator[str]:
    name = server.create(template=template)
    yield server.url(name)
    server.drop(name)


def _lives(url: str, folder: Path, dice: Random, chance: int) -> Counter[str]:
    with opened_ward(url, folder / "var") as ward:
        fill_ward(ward)
        story = Mended(ward, 0)
        questions = _questions(ward)
        told: list[tuple[int, Any]] = []
        for step in range(STEPS):
            story.live(dice, 0 if step < STEPS // 3 else chance)
            if step % 10 == 9:
                told.append(_all_told(ward, questions, None))
        for number, said in told:
            assert _all_told(ward, questions, number) == (number, said)
        with ward.reads() as session:
            _nothing_is_in_two_places(session)
            _nothing_runs_backwards(session)
            disputes(session, ward.site.id)
        for circuit in ward.circuits():
            with ward.reads() as session:
                assert circuit_facts(session, ward.site.id, circuit, ward.now)
        with ward.services.writes() as session:
            assert rebuild(session, ward.site.id).changed == ()
            session.rollback()
        return Counter(story.happened) + Counter(story.refused)


def _questions(ward: Ward) -> list[Scope]:
    def key(identifier: str) -> Any:
        return product_key("gs1", identifier, site_id=ward.site.id)

    with ward.reads() as session:
        found = [
            *(question_of(session, [], [(key(TAP), lot)]) for lot in LOTS[:3]),
            question_of(session, [key(OTHER_TAP)], []),
            question_of(session, [], [(key(SALINE), "4K0")]),
            question_of(session, [], [], serials=[(key(OXYGENATOR), "OX-1")]),
        ]
    return scopes(found)


def _all_told(ward: Ward, questions: list[Scope], number: int | None) -> tuple[int, Any]:
    """Return all answers, circuits and runs as of a number, or as of now with that number."""
    with ward.reads() as session:
        newest = session.scalars(select(LedgerHead.number)).one()
        cut = newest if number is None else number
        at = session.scalars(select(LedgerEvent.recorded_at).filter_by(number=cut)).one()
        answers = [answered(session, ward, each, cut) for each in questions]
        numbers = session.scalars(select(Circuit.number).order_by(Circuit.number)).all()
        runs = session.scalars(select(Run.number).order_by(Run.number)).all()
        site = ward.site.id
        circuits = [circuit_facts(session, site, each, at, cut) for each in numbers]
        served = [run_facts(session, site, each, cut) for each in runs]
        return cut, (
            [(each.circuits, each.excluded, each.coverage) for each in answers],
            [each.patients for each in answers],
            [each for each in circuits if each],
            [each for each in served if each],
        )


def _nothing_is_in_two_places(session: Session) -> None:
    links: tuple[Any, ...] = (CircuitPhase, CircuitPlace, CircuitOnRun)
    for link in links:
        rows = session.scalars(
            select(link)
            .filter_by(superseded_no=None, disputed=False)
            .order_by(link.circuit_id, link.valid_from, link.recorded_no, link.line)
        ).all()
        for before, after in pairwise(rows):
            if before.circuit_id == after.circuit_id:
                assert before.valid_to is not None, (before.valid_from, after.valid_from)
                assert before.valid_to <= after.valid_from


def _nothing_runs_backwards(session: Session) -> None:
    links: tuple[Any, ...] = (CircuitPhase, CircuitPlace, CircuitOnRun, Part, Prime)
    for link in links:
        for row in session.scalars(select(link).filter_by(superseded_no=None)):
            assert row.valid_to is None or row.valid_from <= row.valid_to
    for claim in session.scalars(select(CircuitOnRun).filter_by(superseded_no=None)):
        assert claim.flow_from is None or claim.valid_from <= claim.flow_from
        if claim.flow_from and claim.valid_to:
            assert claim.flow_from <= claim.valid_to
    never = select(CircuitPhase.circuit_id).filter_by(
        superseded_no=None, valid_to=None, reason=NEVER_WAS
    )
    empty = select(Part).where(Part.circuit_id.in_(never), Part.superseded_no.is_(None))
    assert session.scalars(empty).all() == []
