"""Practice is a store of its own: marked on every page and paper, its tags refused by the real one.

Source: common practice, no source; settled in review with people of the trade.
"""

import io
import re
from collections.abc import Iterator
from pathlib import Path
from uuid import uuid4

import pytest
from flask.testing import FlaskClient

from app import create_app
from tests.browser.unit import PEOPLE, PIN, Unit, make_unit
from tests.printing.paper import text
from traceability.domain.tags import circuit_symbol, is_practice
from traceability.reads.lists import site_facts


def made(folder: Path, *, practice: bool) -> Unit:
    folder.mkdir()
    return make_unit(folder, practice=practice)


@pytest.fixture
def real(tmp_path: Path) -> Iterator[Unit]:
    """The real record."""
    unit = made(tmp_path / "real", practice=False)
    yield unit
    unit.services.close()


@pytest.fixture
def practice(tmp_path: Path) -> Iterator[Unit]:
    """The practice store of the same unit: even the id of the site is the same."""
    unit = made(tmp_path / "practice", practice=True)
    yield unit
    unit.services.close()


def browser(unit: Unit, name: str = "S. Berg") -> FlaskClient:
    client = create_app(services=unit.services).test_client()
    client.get("/sign-in")
    badge = PEOPLE[name][0]
    client.post("/sign-in", data={"badge": badge, "pin": PIN, "request_id": str(uuid4())})
    return client


def code(unit: Unit) -> str:
    with unit.services.reads() as reads:
        return site_facts(reads).code


def taken(client: FlaskClient, tag: str, **more: str) -> tuple[int, str]:
    answer = client.post("/take", data={"tag": tag, "request_id": str(uuid4()), **more})
    return answer.status_code, answer.text


def test_a_practice_tag_never_has_a_real_sites_code(real: Unit, practice: Unit) -> None:
    assert is_practice(code(practice))
    assert not is_practice(code(real))


def test_a_practice_tag_is_refused_by_the_real_record_and_an_emergency_goes_on(
    real: Unit, practice: Unit
) -> None:
    number, _ = real.ready_circuit()
    tag = circuit_symbol(code(practice), number)
    client = browser(real)
    status, page = taken(client, tag)
    assert (status, "This is a practice tag" in page) == (422, True)
    assert "Taken" not in client.get(f"/circuits/{number}").text
    # The hand is on something real: it goes on, and never as the circuit of that number.
    assert taken(client, tag, anyway="1")[0] == 302
    assert client.get("/taken/X-0001").status_code == 200
    assert "Taken" not in client.get(f"/circuits/{number}").text


def test_a_real_tag_is_not_taken_in_the_practice_store(real: Unit, practice: Unit) -> None:
    practice.ready_circuit()
    client = browser(practice)
    for more in ({}, {"anyway": "1"}):
        status, page = taken(client, circuit_symbol(code(real), "C-0001"), **more)
        assert (status, "this is the practice store" in page) == (422, True)
        assert "Take it anyway" not in page


def test_every_page_of_the_practice_store_says_so_and_none_of_the_real_one(
    real: Unit, practice: Unit
) -> None:
    for unit, marked in ((practice, True), (real, False)):
        number, _ = unit.ready_circuit()
        client = browser(unit)
        taken(client, circuit_symbol(code(unit), number))
        begun = client.get("/prime")
        assert begun.status_code == 200
        app = create_app(services=unit.services)
        seen = 0
        for rule in app.url_map.iter_rules():
            if "GET" not in (rule.methods or set()) or "." not in rule.endpoint:
                continue
            given = {"number": "R-0001" if rule.endpoint.startswith("runs.") else number}
            if not rule.arguments <= set(given):
                continue
            with app.test_request_context():
                values = {key: given[key] for key in rule.arguments}
                address = app.url_for(rule.endpoint, **values)  # type: ignore[arg-type]
            answer = client.get(address, follow_redirects=True)
            if answer.status_code == 200 and answer.mimetype == "text/html":
                seen += 1
                assert bool(re.search(r"\bPractice\b", answer.text)) is marked, address
        assert seen > 15


def test_every_paper_of_the_practice_store_says_so(practice: Unit) -> None:
    number, _ = practice.ready_circuit()
    client = browser(practice, "J. Ruiz")
    asked = {"count": "1", "request_id": str(uuid4())}
    sheets = client.post("/down-time/sheets", data=asked).headers["Location"]
    product = client.get("/recall?lot=PK26-104").headers["Location"]
    for address in (
        f"/circuits/{number}/tag.pdf",
        f"/circuits/{number}/hand-over.pdf",
        f"/circuits/{number}/retrieval.pdf",
        sheets,
        product.replace("/recall/answer?", "/recall/answer.pdf?"),
    ):
        answer = client.get(address)
        assert answer.mimetype == "application/pdf", address
        assert "PRACTICE" in text(answer.data), address


def test_a_practice_list_is_not_taken_into_the_real_record(real: Unit, practice: Unit) -> None:

    number, _ = practice.ready_circuit()
    data = browser(practice).get(f"/circuits/{number}/contents.json").data
    answer = browser(real).post(
        "/foreign/file",
        data={"file": (io.BytesIO(data), "contents.json"), "request_id": str(uuid4())},
    )
    assert answer.status_code == 422
    assert "practice store" in answer.text
