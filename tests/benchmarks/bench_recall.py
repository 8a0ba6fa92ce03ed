"""How long a recall answer takes in a store of 100,000 circuits, beside the bare indexed SELECT.

The store is filled once and kept in `var/bench` (SQLite); PostgreSQL's is filled anew for each run.
Figures are of one machine and moment: only those of one run can be compared.
"""

import threading
import time
from collections.abc import Callable
from contextlib import suppress
from statistics import median
from typing import Any, Final
from uuid import UUID

import pytest
from flask.testing import FlaskClient
from sqlalchemy import text
from sqlalchemy.exc import OperationalError

from app import create_app
from tests.benchmarks.conftest import CIRCUITS
from tests.benchmarks.filled_store import MANY, TEN
from tests.make import PIN, TAP, Ward, code
from tests.recall.asking import confirmed
from traceability.domain.keys import lot_key, product_key
from traceability.recall.answer import Answer, answer
from traceability.recall.question import question_of, scope_of
from traceability.storage.engine import is_sqlite

LONG_READ_S: Final = 7
WIDE: Final = 10
"""Times the aim: a busy machine is slow, and a plan that reads the whole store slower still."""


def _timed(work: Callable[[], object], times: int) -> tuple[float, float]:
    """Return median and worst of the times that it took, in milliseconds."""
    took = []
    for _ in range(times):
        began = time.perf_counter()
        work()
        took.append((time.perf_counter() - began) * 1000)
    return median(took), max(took)


@pytest.mark.bench
def test_an_answer_costs_what_it_says_and_not_what_the_store_holds(
    filled: Ward, database: str
) -> None:
    client = _signed_in(filled)
    product = product_key("gs1", TAP, site_id=UUID(int=0))
    print(f"\n{database}, {CIRCUITS:,} circuits of 25 parts; median and worst in ms")
    for lot, expected, times in ((TEN, 10, 30), (MANY, 4_999, 5)):
        found = _answer(filled, product, lot)
        assert len(confirmed(found)) == expected
        assert found.coverage.circuits == CIRCUITS
        assert found.excluded == CIRCUITS - len(found.circuits)
        address = f"/recall/answer?lot={product}:{lot}"
        body = client.get(address)
        assert body.status_code == 200
        assert f"{expected} circuits held this lot." in body.text
        rows = f"{len(found.circuits)} rows"
        print(f"  {lot}: {expected} circuits confirmed, {rows}, {found.coverage}")
        for name, work in (
            ("bare SELECT through the index", _bare_select(filled, product, lot)),
            ("read function", lambda lot=lot: _answer(filled, product, lot)),
            ("page, as sent", lambda address=address: client.get(address).data),
        ):
            middle, worst = _timed(work, times)
            print(f"    {name:<32}{middle:>9.2f}{worst:>9.2f}")
            if lot == TEN:
                assert middle < 100 * WIDE


@pytest.mark.bench
def test_a_scan_is_accepted_at_once_while_a_long_read_runs(filled: Ward, database: str) -> None:
    circuit = filled.begin()
    began, ended = threading.Event(), threading.Event()
    reading = threading.Thread(target=_read_long, args=(filled, began, ended))
    reading.start()
    assert began.wait(10)
    took = []
    for _ in range(10):
        since = time.perf_counter()
        done = filled.scan(circuit, code(TAP, "NEW-LOT"))
        took.append((time.perf_counter() - since) * 1000)
        assert done.verdict in {"accepted", "look-again"}  # more taps than the sheet has places for
    assert not ended.is_set(), "the read was over before the scans were"
    reading.join()
    print(f"\n{database}, scans while a read of {LONG_READ_S} s runs, median and worst in ms:")
    print(f"    {median(took):.1f} {max(took):.1f}")
    assert max(took) < 1000


def _read_long(ward: Ward, began: threading.Event, ended: threading.Event) -> None:
    with ward.services.reader.connect() as connection:
        connection.execute(text("SELECT count(*) FROM lot"))
        raw: Any = connection.connection.dbapi_connection
        if not is_sqlite(str(ward.services.reader.url)):
            began.set()
            connection.execute(text(f"SELECT pg_sleep({LONG_READ_S}), count(*) FROM part"))
        else:
            stop = threading.Timer(LONG_READ_S, raw.interrupt)
            stop.start()
            began.set()
            with suppress(OperationalError):
                pairs = "SELECT count(*) FROM part a, part b WHERE a.ordinal + b.ordinal = 0"
                connection.execute(text(pairs))
    ended.set()


def _answer(ward: Ward, product: UUID, lot: str) -> Answer:
    with ward.reads() as session:
        question = question_of(session, [], [(product, lot)])
        assert question is not None
        return answer(session, scope_of(question), zone=ward.site.zone, now=ward.now)


def _bare_select(ward: Ward, product: UUID, lot: str) -> Callable[[], object]:
    raw: Any = ward.services.reader.raw_connection()
    key, sqlite = lot_key(product, lot), is_sqlite(str(ward.services.reader.url))
    query = "SELECT DISTINCT circuit_id FROM part WHERE lot_id = {} AND superseded_no IS NULL"

    def _select() -> object:
        cursor = raw.cursor()
        cursor.execute(query.format("?" if sqlite else "%s"), (key.bytes if sqlite else key,))
        return cursor.fetchall()

    return _select


def _signed_in(ward: Ward) -> FlaskClient:
    client = create_app(services=ward.services).test_client()
    answered = client.post("/sign-in", data={"badge": "PHARMACIST1", "pin": PIN})
    assert answered.status_code == 302, answered.text
    return client
