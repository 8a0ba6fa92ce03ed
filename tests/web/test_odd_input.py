"""What a page answers to a field that no person typed, and to a moment that no clock showed.

Sources: the wall-clock rules are those of `traceability.domain.days`; the clock changes are the
tz database's for Europe/Stockholm (2026-03-29 01:00 UTC, 2026-10-25 01:00 UTC).
"""

from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from uuid import uuid4

import pytest
from flask.testing import FlaskClient
from sqlalchemy import create_engine, func, select

from app import create_app
from tests.make import KEYS, NOON, PACK, PIN, TAP, TYPE, Ward, code
from traceability.errors import BadValue
from traceability.settings import Settings
from traceability.storage.ledger import LedgerEvent, first_break
from traceability.storage.metadata import metadata
from traceability.web.forms import moment_of, thousandths
from traceability.wiring import wire

LONG = "9" * 5000
"""More digits than Python turns into a number (its own limit: 4300)."""


@pytest.fixture
def client(ward: Ward) -> FlaskClient:
    """Return a browser with a signed-in primer and a prime C-0001 begun."""
    client = create_app(services=ward.services).test_client()
    client.get("/sign-in")
    client.post("/sign-in", data={"badge": "PRIMER1", "pin": PIN, "request_id": str(uuid4())})
    place = str(ward.places["console 3"])
    begun = {"circuit_type": TYPE, "place_id": place, "request_id": str(uuid4())}
    assert client.post("/prime", data=begun).headers["Location"].endswith("/prime/C-0001")
    for text in (code(PACK, "PK1"), code(TAP, "T1")):
        scan = {"text": text, "request_id": str(uuid4()), "at": NOON.isoformat()}
        client.post("/prime/C-0001/scan", json=scan)
    return client


def set_clock(ward: Ward, now: datetime) -> None:
    """Let the service's clock show another time from now on."""
    ward.services.clock = lambda: now
    ward.services.known_site = replace(ward.services.site, clock=lambda: now)


@pytest.mark.parametrize("choice", ["²", LONG, "9" * 30, "-1", "1.5", "٣"])
def test_a_count_that_is_none_is_asked_again_or_refused(client: FlaskClient, choice: str) -> None:
    before = client.get("/prime/C-0001").text
    answer = client.post(
        "/prime/C-0001/act",
        json={"act": "count", "choice": choice, "request_id": str(uuid4())},
    )
    assert answer.status_code in {200, 422}
    assert before.count("recorded") == client.get("/prime/C-0001").text.count("recorded")


@pytest.mark.parametrize(
    ("field", "text"),
    [
        ("fill_ml", LONG),
        ("fill_ml", "²"),
        ("fill_ml", "9" * 30),
        ("co2", LONG),
        ("co2", "."),
        ("at", "0001-01-01 00:00"),
        ("at", "0001-01-01T00:00+14:00"),
        ("at", "9999-12-31T23:59-14:00"),
    ],
)
def test_no_field_of_the_end_of_a_prime_breaks_the_page(
    client: FlaskClient, field: str, text: str
) -> None:
    form = {"fill_ml": "1500", "lots_not_recorded": "1", "request_id": str(uuid4()), field: text}
    answer = client.post("/prime/C-0001/end", data=form)
    assert answer.status_code == 422
    assert client.get("/prime/C-0001/end").status_code == 200, "the prime goes on"


def test_a_device_clock_that_no_calendar_holds_is_refused_in_a_sentence(
    client: FlaskClient,
) -> None:
    scan = {"text": code(TAP, "T2"), "request_id": str(uuid4()), "at": "0001-01-01T00:00+14:00"}
    answer = client.post("/prime/C-0001/scan", json=scan)
    assert answer.status_code == 422
    assert answer.get_json()["refused"] is True


@pytest.mark.parametrize("ordinal", ["²", LONG, "9" * 30, ""])
def test_a_swap_of_a_place_that_cannot_be_is_refused(client: FlaskClient, ordinal: str) -> None:
    end = {"fill_ml": "1500", "lots_not_recorded": "1", "request_id": str(uuid4())}
    client.post("/prime/C-0001/end", data=end)
    client.post("/take", data={"tag": "C-0001", "request_id": str(uuid4())})
    form = {"part": f"tap-pump:{ordinal}", "circuit": "C-0001", "request_id": str(uuid4())}
    assert client.post("/runs/R-0001/swap", data=form).status_code == 422


def test_lot_not_recorded_and_lot_not_readable_are_two_facts_on_the_plan(
    client: FlaskClient,
) -> None:
    act = {"act": "not-readable", "slot": "filter", "request_id": str(uuid4())}
    client.post("/prime/C-0001/act", json=act)
    end = {"fill_ml": "1500", "lots_not_recorded": "1", "request_id": str(uuid4())}
    client.post("/prime/C-0001/end", data=end)
    page = client.get("/prime/C-0001").text
    assert "lot not recorded" in page
    assert page.count("lot not readable") < page.count("lot not recorded")


@pytest.mark.parametrize(
    ("typed", "utc"),
    [
        ("2026-03-29 02:30", "2026-03-29T01:00"),
        ("2026-03-29 03:00", "2026-03-29T01:00"),
        ("2026-10-25 02:30", "2026-10-25T00:30"),
        ("2026-11-25 03:40", "2026-11-25T02:40"),
        ("2026-11-25T03:40+00:00", "2026-11-25T03:40"),
    ],
)
def test_a_wall_time_is_never_the_later_choice(ward: Ward, typed: str, utc: str) -> None:
    app = create_app(services=ward.services)
    with app.test_request_context("/", method="POST", data={"at": typed}):
        assert moment_of("at").isoformat(timespec="minutes") == f"{utc}+00:00"


@pytest.mark.parametrize(
    ("typed", "read"), [("1.5", 1500), ("1,5", 1500), ("2", 2000), (".25", 250), ("1.", 1000)]
)
def test_litres_are_read_with_point_or_comma(ward: Ward, typed: str, read: int) -> None:
    app = create_app(services=ward.services)
    with app.test_request_context("/", method="POST", data={"flow": typed}):
        assert thousandths("flow") == read


@pytest.mark.parametrize("typed", [".", "1.2345", "1.2.3", "-1", "x", LONG])
def test_litres_that_are_none_are_refused(ward: Ward, typed: str) -> None:
    app = create_app(services=ward.services)
    with (
        app.test_request_context("/", method="POST", data={"flow": typed}),
        pytest.raises(BadValue),
    ):
        thousandths("flow")


@pytest.mark.parametrize("address", ["/", "/sign-in", "/shelf.json", "/no-such-page"])
def test_a_store_without_a_site_is_told_in_a_sentence(tmp_path: Path, address: str) -> None:
    url = f"sqlite:///{tmp_path / 't.db'}"
    engine = create_engine(url)
    metadata.create_all(engine)
    engine.dispose()
    services = wire(Settings(database_url=url, var_dir=tmp_path), clock=lambda: NOON, keys=KEYS)
    answer = create_app(services=services).test_client().get(address)
    assert answer.status_code in {404, 500, 503}
    assert answer.text.strip()


@pytest.mark.parametrize("as_script", [True, False])
def test_a_database_that_is_away_is_told_so_that_scans_wait(
    tmp_path: Path, as_script: bool
) -> None:
    settings = Settings(database_url="postgresql+psycopg://x@127.0.0.1:1/none", var_dir=tmp_path)
    services = wire(settings, clock=lambda: NOON, keys=KEYS)
    client = create_app(services=services).test_client()
    client.set_cookie("ct_device", "a token")
    body = {"text": code(TAP, "T1"), "request_id": str(uuid4())}
    kind = "json" if as_script else "data"
    answer = client.post("/prime/C-0001/scan", **{kind: body})
    assert answer.status_code == 503
    assert "cannot be reached" in answer.text


def test_a_take_whose_answer_was_lost_is_answered_again_and_is_no_flow_on(
    client: FlaskClient, ward: Ward
) -> None:
    end = {"fill_ml": "1500", "lots_not_recorded": "1", "request_id": str(uuid4())}
    client.post("/prime/C-0001/end", data=end)
    form = {"tag": "C-0001", "request_id": str(uuid4())}
    first = client.post("/take", data=form)
    set_clock(ward, NOON + timedelta(seconds=10))
    again = client.post("/take", data=form)
    assert (first.status_code, first.location) == (again.status_code, again.location)
    assert first.location.endswith("/taken/C-0001")
    assert client.get("/shelf.json").get_json()["ready"] == 0
    assert "R-0002" not in client.get("/runs").text
    assert "flow on not recorded" in client.get("/circuits/C-0001").text
    on = client.post("/take", data={"tag": "C-0001", "request_id": str(uuid4())})
    assert on.status_code == 302
    assert "flow on not recorded" not in client.get("/circuits/C-0001").text
    set_clock(ward, NOON + timedelta(seconds=20))
    assert client.post("/take", data=form).location.endswith("/taken/C-0001")


def test_a_form_without_a_time_may_come_twice_and_one_with_another_time_may_not(
    client: FlaskClient, ward: Ward
) -> None:
    end = {"fill_ml": "1500", "lots_not_recorded": "1", "request_id": str(uuid4())}
    client.post("/prime/C-0001/end", data=end)
    set_clock(ward, NOON + timedelta(seconds=10))
    assert client.post("/prime/C-0001/end", data=end).status_code == 302
    move = {"place_id": str(ward.places["box 3"]), "request_id": str(uuid4())}
    said = move | {"at": "2026-11-25 12:00"}
    assert client.post("/circuits/C-0001/move", data=said).status_code == 302
    assert client.post("/circuits/C-0001/move", data=said).status_code == 302
    other = move | {"at": "2026-11-25 12:01"}
    assert client.post("/circuits/C-0001/move", data=other).status_code == 409


def test_a_full_disk_loses_nothing_and_the_same_scan_counts_once_there_is_room(
    client: FlaskClient, ward: Ward
) -> None:
    # SQLite's own limit: the engine answers as on a full disk (PRAGMA max_page_count, sqlite.org).
    with ward.services.writer.connect() as connection:
        pages = connection.exec_driver_sql("PRAGMA page_count").scalar_one()
        connection.exec_driver_sql(f"PRAGMA max_page_count = {pages}")
    full = None
    for number in range(200):
        scan = {
            "text": code(TAP, f"T{number}"),
            "request_id": str(uuid4()),
            "at": NOON.isoformat(),
        }
        full = client.post("/prime/C-0001/scan", json=scan)
        if full.status_code != 200:
            break
    assert full is not None
    assert full.status_code == 507, "the queue on the device keeps what is answered so"
    assert "disk is full" in full.get_json()["sentence"]
    with ward.reads() as session:
        before = session.scalar(select(func.count()).select_from(LedgerEvent)) or 0
    with ward.services.writer.connect() as connection:
        connection.exec_driver_sql("PRAGMA max_page_count = 1000000")
    assert client.post("/prime/C-0001/scan", json=scan).status_code == 200
    assert client.post("/prime/C-0001/scan", json=scan).status_code == 200
    with ward.reads() as session:
        assert session.scalar(select(func.count()).select_from(LedgerEvent)) == before + 1
        assert first_break(session, ward.site.id) is None
