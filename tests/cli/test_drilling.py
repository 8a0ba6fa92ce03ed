"""The worker drills once a week: not twice, also with a clock that steps, and after a pause too."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest

from tests.make import TAP, Ward, code, opened_ward
from tests.stock_acts import Shelves
from traceability.cli.worker import RoundOfWork
from traceability.reads.drills import drills

WEEK = timedelta(days=7)
HOURS = timedelta(hours=1)


@pytest.fixture
def ward(url: str, tmp_path: Path) -> Iterator[Ward]:
    """A ward on SQLite and on PostgreSQL."""
    with opened_ward(url, tmp_path / "var") as ward:
        yield ward


@pytest.fixture
def work(ward: Ward) -> RoundOfWork:
    """A worker on the ward's store, with the ward's clock."""
    return worker_of(ward)


def worker_of(ward: Ward) -> RoundOfWork:
    ward.services.settings.var_dir.mkdir(exist_ok=True)
    ward.services.clock = lambda: ward.now
    ward.services.known_site = replace(ward.services.site, clock=lambda: ward.now)
    return RoundOfWork(ward.services)


def weeks(ward: Ward) -> list[date]:
    with ward.reads() as session:
        return [each.week for each in drills(session, ward.site.id)]


def test_an_empty_store_is_not_drilled(ward: Ward, work: RoundOfWork) -> None:
    work.do()
    assert weeks(ward) == []


def test_one_a_week_and_one_after_a_pause(ward: Ward, work: RoundOfWork) -> None:
    Shelves(ward).receive(code(TAP, "T77-0B1"))
    for _ in range(7 * 24):
        work.do()
        ward.now += HOURS
    work.do()
    # The ward's clock begins on a Tuesday: a week of hours reaches into the next one.
    assert weeks(ward) == [date(2031, 5, 12), date(2031, 5, 5)]
    ward.now += 3 * WEEK  # the service was down
    worker_of(ward).do()
    worker_of(ward).do()
    assert weeks(ward) == [date(2031, 6, 2), date(2031, 5, 12), date(2031, 5, 5)]


def test_a_clock_that_steps_makes_no_second_one(ward: Ward, work: RoundOfWork) -> None:
    Shelves(ward).receive(code(TAP, "T77-0B1"))
    work.do()
    ward.now += 5 * WEEK  # it ran ahead ...
    work.do()
    ward.now -= 5 * WEEK  # ... and was set right
    work.do()
    worker_of(ward).do()
    assert weeks(ward) == [date(2031, 6, 9), date(2031, 5, 5)]
    ward.now += WEEK
    work.do()
    assert len(weeks(ward)) == 3, "the weeks between are drilled all the same"


def test_two_workers_make_one(ward: Ward, work: RoundOfWork) -> None:
    Shelves(ward).receive(code(TAP, "T77-0B1"))
    other = worker_of(ward)
    work.do()
    other.do()
    assert len(weeks(ward)) == 1


def test_none_is_made_where_the_setting_says_so(ward: Ward) -> None:
    Shelves(ward).receive(code(TAP, "T77-0B1"))
    ward.services.settings = replace(ward.services.settings, drill_lots=0)
    worker_of(ward).do()
    assert weeks(ward) == []
