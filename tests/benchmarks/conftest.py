"""Wards whose stores hold 100,000 and 400,000 circuits, for all benchmarks that need one."""

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
from tests.make import KEYS, NOON, PLACES, ROLES, Ward, code, opened_ward
from tests.stock_acts import Shelves
from traceability.actions.stock.declare import DeclareBook, declare_book
from traceability.settings import Settings
from traceability.storage.engine import is_sqlite
from traceability.storage.ledger import LedgerHead
from traceability.wiring import wire

CIRCUITS: Final = 100_000
SIZES: Final = (4_000, 40_000, 400_000)
"""400,000 circuits hold 10,000,000 rows of parts."""
KEPT: Final = Path(__file__).parents[2] / "var" / "bench"


def _fill(url: str, folder: Path, circuits: int) -> None:
    began = time.perf_counter()
    with opened_ward(url, folder) as ward:
        _prepare(ward)
        with ward.reads() as session:
            head = session.get_one(LedgerHead, ward.site.id).number
        engine, place = ward.services.writer, ward.places["console 3"]
        filled_store.fill(engine, ward.site.id, place, first_no=head + 1, circuits=circuits)
        with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
            connection.execute(text("ANALYZE" if is_sqlite(url) else "VACUUM ANALYZE"))
    print(f"\nfilled in {time.perf_counter() - began:.0f} s")


def _prepare(ward: Ward) -> None:
    """Add what the filled circuits need: products, and a book of connectors that is complete."""
    ward.product(filled_store.CONNECTOR, "Straight connector", "connector")
    ward.product(filled_store.LINE, "Line", "line")
    ward.product(filled_store.RARE, "Pressure sensor", "sensor")
    shelves = Shelves(ward)
    shelves.receive(code(filled_store.CONNECTOR, "C-SEED"))
    shelves.count(filled_store.CONNECTOR, ("C-SEED", "trolley 1", 1))
    declared = DeclareBook(
        sent=ward.at("stock").sent(),
        product_id=shelves.key(filled_store.CONNECTOR),
        complete=True,
        at=ward.now,
    )
    declare_book(declared, site=ward.site)


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
    """A ward with 100,000 circuits; the SQLite file is a copy of the one that is kept."""
    if database == "sqlite":
        shutil.copyfile(_kept(url, tmp_path, CIRCUITS), tmp_path / "test.db")
    else:
        _fill(url, tmp_path, CIRCUITS)
    with _reopened(url, tmp_path) as ward:
        yield ward


@pytest.fixture(params=SIZES)
def sized(
    request: pytest.FixtureRequest, database: str, url: str, tmp_path: Path
) -> Iterator[Ward]:
    """Wards of growing size, only to be read: the SQLite files are the very ones that are kept."""
    if database == "sqlite":
        kept = _kept(url, tmp_path, request.param)
        (tmp_path / "test.db").unlink(missing_ok=True)
        (tmp_path / "test.db").symlink_to(kept)
    else:
        _fill(url, tmp_path, request.param)
    with _reopened(url, tmp_path) as ward:
        yield ward


def _kept(url: str, folder: Path, circuits: int) -> Path:
    """Return the filled SQLite file, made now unless the same was made before."""
    kept = KEPT / f"recall-{circuits}-{_made_from(url, circuits)}.db"
    if not kept.exists():
        KEPT.mkdir(parents=True, exist_ok=True)
        for old in KEPT.glob(f"recall-{circuits}-*"):
            old.unlink()
        _fill(url, folder, circuits)
        shutil.move(folder / "test.db", kept)
    return kept


def _made_from(url: str, circuits: int) -> str:
    """Return a digest of the tables and of what fills them."""
    engine = create_engine(url)
    with engine.connect() as connection:
        tables = connection.scalars(text("SELECT sql FROM sqlite_master ORDER BY name")).all()
    engine.dispose()
    made_from = Path(filled_store.__file__).read_text("utf-8") + repr(tables)
    return hashlib.sha256(f"{circuits} {made_from}".encode()).hexdigest()[:12]
