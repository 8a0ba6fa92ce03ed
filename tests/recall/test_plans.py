"""Nothing that people wait for passes over the whole store, on SQLite without any statistics.

A store grows for thirty years, and nobody runs ANALYZE. The plans are asked of SQLite itself, for
the very statements that a story of acts and the answers after it have sent.
"""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

import pytest
from sqlalchemy import Engine, create_engine, event, text

from tests.make import NOON, OXYGENATOR, TAP, Ward, opened_ward
from tests.recall.story import LOTS, Story, fill_ward
from traceability.domain.keys import product_key
from traceability.reads.happenings import happenings
from traceability.reads.shelf import shelf
from traceability.reads.standby import standby_log
from traceability.recall.answer import answer
from traceability.recall.question import question_of
from traceability.storage.metadata import metadata

GROWING: Final = (
    "circuit|circuit_on_run|circuit_phase|circuit_place|circuit_way|event|hold|kept_apart|lot|part|"
    "patient|prime|print_order|request|run|run_patient|shelf_check|signature|told_by_hand|"
    "trolley_act"
)
"""Tables that grow as long as the service runs; all others hold a unit's lists."""

WHOLE_TABLE: Final = re.compile(
    rf"SCAN ({GROWING})\b|SEARCH ({GROWING}) USING [\w ]+ \(site_id=\?( AND \w+[<>]\?)*\)$"
)
"""Every row is looked at; with a range beside the site it still is, for ranges here mean "before
that entry"."""

KNOWN: Final = {
    "SELECT count(*) AS count_1 FROM circuit WHERE": "coverage counts circuits, in the index alone",
    "SELECT event.number, event.recorded_at, event.device_id FROM event": "one row, from the end",
    "SELECT circuit.id, circuit.site_id, circuit.circuit_type, circuit.sheet_version FROM": (
        "as of an earlier entry: primes that ended since, and no others"
    ),
    "SELECT count(*) AS count_1 FROM patient WHERE": "numbers a temporary identity; runs are few",
}


@contextmanager
def _statements(*engines: Engine) -> Iterator[dict[str, Any]]:
    """Collect each statement once, with the values it was sent with."""
    sent: dict[str, Any] = {}

    def _keep(_c: Any, _cursor: Any, statement: str, values: Any, _x: Any, _many: bool) -> None:
        if statement.startswith(("SELECT", "UPDATE")):
            sent.setdefault(" ".join(statement.split()), values)

    for engine in engines:
        event.listen(engine, "before_cursor_execute", _keep)
    yield sent
    for engine in engines:
        event.remove(engine, "before_cursor_execute", _keep)


@pytest.fixture
def ward(tmp_path: Path) -> Iterator[Ward]:
    url = f"sqlite:///{tmp_path / 'plans.db'}"
    engine = create_engine(url)
    metadata.create_all(engine)
    engine.dispose()
    with opened_ward(url, tmp_path) as ward:
        fill_ward(ward)
        yield ward


def test_acts_and_answers_find_their_rows_through_indexes(ward: Ward) -> None:
    services = ward.services
    with _statements(services.writer, services.reader) as sent:
        story = Story(ward, 7)
        for _ in range(100):
            story.go()
        last = ward.begin()
        acts = len(sent)
        with ward.reads() as session:
            _answers(ward, session)
            assert happenings(session, ward.site.id, last)
            shelf(session, ward.site.id, ward.now)
            standby_log(session, ward.site.id, NOON, ward.now)
    assert acts > 40
    assert len(sent) > acts + 10
    with services.reader.connect() as connection:
        assert not connection.scalar(
            text("SELECT count(*) FROM sqlite_master WHERE name = 'sqlite_stat1'")
        )
        raw: Any = connection.connection.dbapi_connection
        found = [
            f"{step[3]}: {statement}"
            for statement, values in sent.items()
            for step in raw.execute(f"EXPLAIN QUERY PLAN {statement}", values)
            if WHOLE_TABLE.match(step[3]) and not statement.startswith(tuple(KNOWN))
        ]
    assert found == [], "\n".join(found)


def _answers(ward: Ward, session: Any) -> None:
    tap, oxygenator = (product_key("gs1", gtin, site_id=ward.site.id) for gtin in (TAP, OXYGENATOR))
    for question in (
        question_of(session, [], [(tap, LOTS[0])]),
        question_of(session, [tap], []),
        question_of(session, [], [], serials=[(oxygenator, "OX-1")]),
    ):
        assert question is not None
        for as_of in (None, 60):
            answer(session, question, now=ward.now, as_of_no=as_of)
