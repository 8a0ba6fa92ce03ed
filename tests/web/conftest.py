"""What tests of pages share: a ward with an SQLite store of its own."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import create_engine

from tests.make import Ward, opened_ward
from traceability.storage.metadata import metadata


@pytest.fixture
def ward(tmp_path: Path) -> Iterator[Ward]:
    """Open a set-up ward; pages and acts see the same store."""
    url = f"sqlite:///{tmp_path / 't.db'}"
    engine = create_engine(url)
    metadata.create_all(engine)
    engine.dispose()
    with opened_ward(url, tmp_path) as ward:
        yield ward
