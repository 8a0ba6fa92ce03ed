"""A ward on every database."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.make import Ward, opened_ward
from tests.notices.answering import by_lot


@pytest.fixture
def ward(url: str, tmp_path: Path) -> Iterator[Ward]:
    """A ward on SQLite and on PostgreSQL that can answer scopes which name lots."""
    with opened_ward(url, tmp_path / "var") as ward:
        ward.services.answering = by_lot
        yield ward
