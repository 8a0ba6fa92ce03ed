"""A ward on every database."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.make import Ward, opened_ward


@pytest.fixture
def ward(url: str, tmp_path: Path) -> Iterator[Ward]:
    """A ward on SQLite and on PostgreSQL."""
    with opened_ward(url, tmp_path / "var") as ward:
        yield ward
