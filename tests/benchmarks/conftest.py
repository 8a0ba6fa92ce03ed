"""A ward whose store holds 100,000 circuits, for all benchmarks that need one."""

import hashlib
import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final
from uuid import UUID

import pytest
from sqlalchemy import create_engine, text

from tests.benchmarks import filled_store
from tests.make import KEYS, NOON, PLACES, ROLES, Ward, opened_ward
from traceability.settings import Settings
from traceability.storage.engine import is_sqlite
from traceability.storage.ledger import LedgerHead
from traceability.wiring import wire

CIRCUITS: Final = 100_000
KEPT: Final = Path(__file__).parents[2] / "var" / "bench"


def _fill(url: str, folder: Path) -> None:
    began = time.perf_counter()
    with opened_ward(url, folder) as ward:
        with ward.reads() as session:
            head = session.get_one(LedgerHead, ward.site.id).number
        engine, place = ward.services.writer, ward.places["console 3"]
        filled_store.fill(engine, ward.site.id, place, first_no=head + 1, circuits=CIRCUITS)
        with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
            connection.execute(text("ANALYZE" if is_sqlite(url) else "VACUUM ANALYZE"))
    print(f"\nfilled in {time.perf_counter() - began:.0f} s")


@contextmanager
def _reopened(url: str, folder: Path) -> Iterator[Ward]:
    services = wire(Settings(database_url=url, var_dir=folder), clock=lambda: NOON, keys=KEYS)
    ward = Ward(services)
    ward.people = {name: UUID(int=number) for number, name in enumerate(ROLES, start=0xA0)}
    ward.places = {name: UUID(int=number) for number, name in enumerate(PLACES, start=0xB0)}
    ward.actor = ward.people["primer"]
    try:
        yield ward
    finally:
        services.close()


@pytest.fixture
def filled(database: str, url: str, tmp_path: Path) -> Iterator[Ward]:
    """A ward with 100,000 circuits; the SQLite file is copied from the one that is kept."""
    if database == "sqlite":
        kept = KEPT / f"recall-{_made_from(url)}.db"
        if not kept.exists():
            KEPT.mkdir(parents=True, exist_ok=True)
            for old in KEPT.glob("recall-*"):
                old.unlink()
            _fill(url, tmp_path)
            shutil.copyfile(tmp_path / "test.db", kept)
        shutil.copyfile(kept, tmp_path / "test.db")
    else:
        _fill(url, tmp_path)
    with _reopened(url, tmp_path) as ward:
        yield ward


def _made_from(url: str) -> str:
    """Return a digest of the tables and of what fills them."""
    engine = create_engine(url)
    with engine.connect() as connection:
        tables = connection.scalars(text("SELECT sql FROM sqlite_master ORDER BY name")).all()
    engine.dispose()
    made_from = Path(filled_store.__file__).read_text("utf-8") + repr(tables)
    return hashlib.sha256(f"{CIRCUITS} {made_from}".encode()).hexdigest()[:12]
