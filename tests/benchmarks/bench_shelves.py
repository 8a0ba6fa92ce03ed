"""What an answer on four shelves costs, and that its cost follows the answer and not the store.

Stores of 4,000, 40,000 and 400,000 circuits (10,000,000 rows of parts) beside the bare indexed
SELECT in the same run. Figures are of one machine and moment: only those of one run compare.
"""

import gc
import time
from collections.abc import Callable
from functools import partial
from typing import Any, Final
from uuid import UUID

import pytest
from flask.testing import FlaskClient

from app import create_app
from tests.benchmarks import filled_store as store
from tests.make import HEATER, OXYGENATOR, PIN, TAP, Ward
from traceability.domain.exposure import Shelf
from traceability.domain.keys import lot_key, product_key
from traceability.domain.notice_scope import (
    ProductRef,
    Said,
    Scope,
    ScopeClause,
    ScopeTest,
    scope_json,
)
from traceability.recall.answer import answer
from traceability.storage.engine import is_sqlite
from traceability.storage.ledger import canonical

TIMES: Final = {"small": 40, "large": 5}


def _timed(work: Callable[[], object], times: int) -> tuple[float, float]:
    """Return median and 95th percentile of the times that it took, in milliseconds."""
    work()
    took = []
    for _ in range(times):
        began = time.perf_counter()
        work()
        took.append((time.perf_counter() - began) * 1000)
    took.sort()
    return took[len(took) // 2], took[min(len(took) - 1, int(len(took) * 0.95))]


def _ref(gtin: str) -> ProductRef:
    return ProductRef(standard="gs1", identifier=gtin)


def _lots(gtin: str, *texts: str) -> Scope:
    test = ScopeTest(kind=Said.LOTS, texts=texts)
    return Scope(clauses=(ScopeClause(products=(_ref(gtin),), tests=(test,)),))


def _questions() -> list[tuple[str, Scope, str]]:
    serial = ScopeTest(kind=Said.SERIALS, texts=("S0001234",))
    heater = ScopeTest(kind=Said.SERIALS, texts=("HC-006",))
    machine = ScopeClause(
        products=(_ref(HEATER),),
        tests=(heater,),
        used_from=store.BEGAN + store.EVERY * 1000,
        used_to=store.BEGAN + store.EVERY * 1400,
    )
    return [
        ("a lot in 10 circuits", _lots(TAP, store.TEN), "small"),
        ("a lot never seen", _lots(TAP, "NEVER"), "small"),
        (
            "a serial",
            Scope(clauses=(ScopeClause(products=(_ref(OXYGENATOR),), tests=(serial,)),)),
            "small",
        ),
        ("equipment by dates", Scope(clauses=(machine,)), "small"),
        ("a connector lot, 1 in 20 unread", _lots(store.CONNECTOR, "CN000300"), "small"),
        (
            "a product over all lots",
            Scope(clauses=(ScopeClause(products=(_ref(store.RARE),)),)),
            "large",
        ),
        ("a lot in 5,000 circuits", _lots(TAP, store.MANY), "large"),
        (
            "the same of connectors, unread ones",
            _lots(store.CONNECTOR, store.MANY_CONNECTORS),
            "large",
        ),
    ]


@pytest.mark.bench
def test_the_cost_of_an_answer_follows_the_answer(sized: Ward, database: str) -> None:
    client = _signed_in(sized)
    gc.collect()
    gc.freeze()  # as the web process does once it stands
    store_name = sized.services.settings.database_url.rpartition("/")[2]
    print(f"\n{database}, {store_name}; median and p95 in ms")
    for name, scope, size in _questions():
        times = TIMES[size]
        asked = {"scope": canonical(scope_json(scope))}
        with sized.reads() as session:
            began = time.perf_counter()
            found = answer(session, scope, zone=sized.site.zone, now=sized.now)
            first = (time.perf_counter() - began) * 1000
        counts = {shelf.value: len(found.circuits_on(shelf)) for shelf in Shelf}
        half = found.cut.number // 2
        works: list[tuple[str, Callable[[], object]]] = [
            ("answer", partial(_answer, sized, scope)),
            ("answer as of half the record", partial(_answer, sized, scope, half)),
            ("page, as sent", partial(_sent, client, "/recall/answer", asked)),
        ]
        texts = scope.clauses[0].tests[0].texts if scope.clauses[0].tests else ()
        if name.startswith("a lot in"):
            works.insert(0, ("bare SELECT", _bare_select(sized, texts[0])))
        if size == "large":
            works.append(("table, streamed", partial(_sent, client, "/recall/answer.csv", asked)))
        counts |= {"excluded": found.excluded, "patients": len(found.patients)}
        print(f"  {name}: {counts}, first {first:.0f}")
        for label, work in works:
            middle, late = _timed(work, times)
            print(f"    {label:<32}{middle:>10.1f}{late:>10.1f}")


def _sent(client: FlaskClient, address: str, asked: dict[str, str]) -> bytes:
    sent: bytes = client.post(address, data=asked).data
    return sent


def _answer(ward: Ward, scope: Scope, as_of_no: int | None = None) -> object:
    with ward.reads() as session:
        return answer(session, scope, zone=ward.site.zone, now=ward.now, as_of_no=as_of_no)


def _bare_select(ward: Ward, lot: str) -> Callable[[], object]:
    raw: Any = ward.services.reader.raw_connection()
    product = product_key("gs1", TAP, site_id=UUID(int=0))
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
