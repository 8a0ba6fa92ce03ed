"""A unit that is served, for tests that look at it through a browser."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from app import create_app
from tests.browser.unit import Unit, make_unit


@pytest.fixture
def unit(tmp_path: Path) -> Iterator[Unit]:
    """An invented unit in a store of its own."""
    made = make_unit(tmp_path)
    yield made
    made.services.close()


@pytest.fixture
def base(unit: Unit, served: Callable[[Callable[..., Any]], str]) -> str:
    """The address at which the unit's pages are served."""
    return served(create_app(services=unit.services))


@pytest.fixture
def seen(tmp_path: Path) -> Path:
    """A folder for pictures of pages."""
    folder = tmp_path / "seen"
    folder.mkdir()
    return folder
