"""The copy of the shelf that the worker keeps: there at once, fresh each minute, never half."""

import stat
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy.exc import OperationalError

from tests.actions.test_shelf import told
from tests.make import Ward, opened_ward
from traceability.cli import worker
from traceability.cli.still_page import still_page_file, write_still_page
from traceability.cli.worker import RoundOfWork
from traceability.wiring import Services


@pytest.fixture
def ward(url: str, tmp_path: Path) -> Iterator[Ward]:
    """A ward on SQLite and on PostgreSQL."""
    with opened_ward(url, tmp_path / "var") as ward:
        yield ward


@pytest.fixture
def work(ward: Ward) -> RoundOfWork:
    """A worker on the ward's store, with the ward's clock."""
    ward.services.settings.var_dir.mkdir(exist_ok=True)
    ward.services.clock = lambda: ward.now
    ward.services.known_site = replace(ward.services.site, clock=lambda: ward.now)
    return RoundOfWork(ward.services)


def page_of(services: Services) -> Path:
    return still_page_file(services.settings.var_dir)


def test_the_copy_is_there_after_the_first_round_and_fresh_after_a_minute(
    ward: Ward, work: RoundOfWork
) -> None:
    work.do()
    first = page_of(ward.services).read_text(encoding="utf-8")
    assert "0 of 2 ready" in first
    circuit = ward.prime()
    work.do()
    assert page_of(ward.services).read_text(encoding="utf-8") == first
    ward.now += timedelta(minutes=1)
    work.do()
    second = page_of(ward.services).read_text(encoding="utf-8")
    assert "1 of 2 ready" in second
    assert ward.number(circuit) in second


def test_nobody_is_named_in_the_copy(ward: Ward, work: RoundOfWork) -> None:
    ward.take(ward.prime())
    told(ward, "E. Lind, charge consultant")
    work.do()
    page = page_of(ward.services).read_text(encoding="utf-8")
    assert "Told by hand" in page
    assert "Lind" not in page
    assert "Primer A." not in page


def test_a_store_that_is_away_leaves_the_last_copy_and_the_worker_goes_on(
    ward: Ward, work: RoundOfWork, monkeypatch: pytest.MonkeyPatch
) -> None:
    work.do()
    before = page_of(ward.services).read_bytes()

    def _away(_services: Services) -> Path:
        raise OperationalError("SELECT", {}, OSError("gone"))

    monkeypatch.setattr(worker, "write_still_page", _away)
    ward.now += timedelta(minutes=2)
    work.do()
    assert page_of(ward.services).read_bytes() == before
    monkeypatch.undo()
    ward.now += timedelta(minutes=1)
    work.do()
    assert page_of(ward.services).read_bytes() != before


def test_a_folder_that_cannot_be_written_stops_no_worker(ward: Ward, work: RoundOfWork) -> None:
    page_of(ward.services).mkdir()  # a file cannot take its place
    work.do()
    assert stat.S_ISDIR(page_of(ward.services).stat().st_mode)


def test_practice_has_a_copy_of_its_own(tmp_path: Path) -> None:
    assert still_page_file(tmp_path) != still_page_file(tmp_path, practice=True)


def test_no_draft_is_left_behind(ward: Ward, work: RoundOfWork) -> None:
    del work
    path = write_still_page(ward.services)
    assert [each.name for each in path.parent.glob("shelf*")] == ["shelf.html"]
