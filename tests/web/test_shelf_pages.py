"""The shelf's pages and feeds: what they tell whom, and what they answer to odd input."""

import json
import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from uuid import uuid4

import pytest
from flask.testing import FlaskClient
from sqlalchemy import create_engine

from app import create_app
from tests.actions.test_shelf import looks, told
from tests.exchange.test_calendar import events, plain
from tests.make import HOUR, PIN, Ward, opened_ward
from tests.printing.paper import text
from traceability.domain.tags import circuit_symbol, site_code
from traceability.domain.use_by import Limits
from traceability.reads.lists import places, policy
from traceability.storage.metadata import metadata


@pytest.fixture
def ward(tmp_path: Path) -> Iterator[Ward]:
    url = f"sqlite:///{tmp_path / 't.db'}"
    engine = create_engine(url)
    metadata.create_all(engine)
    engine.dispose()
    with opened_ward(url, tmp_path) as made:
        made.services.clock = lambda: made.now
        made.services.known_site = replace(made.services.site, clock=lambda: made.now)
        yield made


@pytest.fixture
def anybody(ward: Ward) -> FlaskClient:
    """A browser that nobody knows."""
    return create_app(services=ward.services).test_client()


def signed_in(ward: Ward, name: str) -> FlaskClient:
    client = create_app(services=ward.services).test_client()
    client.get("/sign-in")
    badge = {"badge": f"{name.upper()}1", "pin": PIN, "request_id": str(uuid4())}
    assert client.post("/sign-in", data=badge).status_code == 302
    return client


def sends(client: FlaskClient, path: str, **fields: object) -> int:
    return client.post(path, data={"request_id": str(uuid4()), **fields}).status_code


@pytest.mark.parametrize("path", ["/", "/shelf.json", "/shelf.ics", "/shelf.pdf"])
def test_the_shelf_is_open_and_names_nobody_to_a_browser_that_nobody_knows(
    ward: Ward, anybody: FlaskClient, path: str
) -> None:
    ward.take(ward.prime())
    unsigned = ward.begin()
    ward.fill(unsigned)
    ward.end(unsigned)
    looks(ward, unsigned)
    told(ward, "E. Lind, charge consultant")
    answer = anybody.get(path)
    assert answer.status_code == 200
    said = text(answer.data) if path.endswith("pdf") else answer.get_data(as_text=True)
    assert "C-0002" in said
    for name in ("Lind", "Primer A.", "Helper A."):
        assert name not in said
    assert ("told" in said.lower()) == (path != "/shelf.ics")


def test_who_was_told_stands_on_the_shelf_for_who_is_signed_in(ward: Ward) -> None:
    ward.take(ward.prime())
    client = signed_in(ward, "bedside")
    place = str(ward.places["console 3"])
    assert sends(client, "/told", place_id=place, reason="missing", who="E. Lind, 02:45") == 302
    assert "E. Lind, 02:45" in client.get("/").get_data(as_text=True)


def test_a_calendar_holds_the_use_by_and_the_next_look_of_what_stands(
    ward: Ward, anybody: FlaskClient
) -> None:
    circuit = ward.prime()
    ward.now += HOUR
    looks(ward, circuit)
    use_by = ward.facts(circuit).use_by
    assert use_by is not None
    answer = anybody.get("/shelf.ics")
    assert answer.mimetype == "text/calendar"
    found = {plain(each["SUMMARY"]): each for each in events(answer.get_data(as_text=True))}
    assert found.keys() == {"C-0001: use-by ends, console 3", "C-0001: look at it, console 3"}
    stamp = "%Y%m%dT%H%M%SZ"
    assert found["C-0001: use-by ends, console 3"]["DTSTART"] == use_by.strftime(stamp)
    due = (ward.now + 24 * HOUR).strftime(stamp)
    assert found["C-0001: look at it, console 3"]["DTSTART"] == due
    again = events(anybody.get("/shelf.ics").get_data(as_text=True))
    assert [each["UID"] for each in again] == [each["UID"] for each in found.values()]
    ward.take(circuit)
    assert events(anybody.get("/shelf.ics").get_data(as_text=True)) == []


def test_numbers_of_the_shelf_carry_every_reason(ward: Ward, anybody: FlaskClient) -> None:
    circuit = ward.prime()
    ward.at("consultant").hold("circuit", circuit)
    looks(ward, circuit, "seal")
    found = json.loads(anybody.get("/shelf.json").data)
    console = next(each for each in found["places"] if each["place"] == "console 3")
    assert (found["ready"], console["circuit"], console["missing"]) == (0, None, 1)
    (one,) = console["not_counted"]
    assert (one["reasons"], one["look_findings"]) == (["on-hold", "not-right"], ["seal"])


@pytest.mark.parametrize("tag", ["nonsense", "C-0099", "]C1CT1.XXXX.C-0001", "9" * 5000])
def test_a_tag_that_is_none_of_ours_is_said_on_the_look_page(ward: Ward, tag: str) -> None:
    ward.prime()
    client = signed_in(ward, "bedside")
    answer = client.get("/check", query_string={"tag": tag})
    assert answer.status_code == 422
    assert "What stands primed" in answer.get_data(as_text=True)


def test_a_look_is_a_scan_and_a_touch(ward: Ward) -> None:
    circuit = ward.prime()
    client = signed_in(ward, "bedside")
    tag = circuit_symbol(site_code(ward.site.id), "C-0001")
    assert "Look at" in client.get("/check", query_string={"tag": tag}).get_data(as_text=True)
    assert sends(client, "/circuits/C-0001/look", good="1") == 302
    assert [look.good for look in ward.facts(circuit).looks] == [True]
    assert sends(client, "/circuits/C-0001/look") == 302
    assert ward.facts(circuit).looks[-1].findings == ("other",)
    both = {"finding-clamps": "1", "finding-seal": "1"}
    assert sends(client, "/circuits/C-0001/look", **both) == 302
    assert ward.facts(circuit).looks[-1].findings == ("seal", "clamps")


@pytest.mark.parametrize("path", ["/check", "/standby"])
def test_these_pages_need_somebody_signed_in(anybody: FlaskClient, path: str) -> None:
    answer = anybody.get(path)
    assert answer.status_code == 302
    assert answer.headers["Location"].startswith("/sign-in")


@pytest.mark.parametrize(
    "query",
    [
        "months=0",
        "months=61",
        "months=x",
        "demand=0",
        "demand=-1",
        "demand=101",
        "hours=0",
        "hours=1e9",
        "hours=%00",
        "demand=" + "9" * 4000,
        "demand=٣",
    ],
)
def test_a_number_that_cannot_be_is_refused_by_the_model(ward: Ward, query: str) -> None:
    answer = signed_in(ward, "bedside").get(f"/standby?{query}")
    assert answer.status_code == 422
    assert "cannot be right" in answer.get_data(as_text=True)


def test_the_model_says_the_number_and_that_it_is_a_floor(ward: Ward) -> None:
    """1 a week, 24 h, two circuits: 0.885 % (Erlang's loss formula, worked by hand)."""
    said = signed_in(ward, "bedside").get("/standby?demand=1&hours=24").get_data(as_text=True)
    assert "0.885 %" in said
    assert "floor" in said
    assert "clusters" in said
    empty = signed_in(ward, "bedside").get("/standby").get_data(as_text=True)
    assert "The log holds no call yet" in empty


def test_half_hours_of_a_policy_come_back_as_they_were_set(ward: Ward) -> None:
    client = signed_in(ward, "stock")
    given = {
        "wet_closed_days": "20",
        "dry_days": "60",
        "wet_open_days": "3",
        "blood_hours": "2,5",
        "opened_fluid_hours": "1.5",
        "parts_expiry_counts": "1",
        "plasticiser_days": "14",
        "check_hours": "12",
        "read_version": "1",
    }
    assert sends(client, "/policy", **given) == 302
    with ward.reads() as session:
        found = policy(session, ward.site.id)
    assert (found.version, found.limits) == (
        2,
        Limits(
            wet_closed_days=20,
            wet_open_days=3,
            blood_hours=2.5,
            opened_fluid_hours=1.5,
            plasticiser_days=14,
            check_hours=12,
        ),
    )
    page = client.get("/policy").get_data(as_text=True)
    assert 'value="2.5"' in page
    ticked = re.findall(r'name="(\w+)" value="1" checked', page)
    assert ticked == ["parts_expiry_counts"], "what is off is not ticked, to be saved as on"
    assert "not a recommendation" in page
    assert "ASAIO J 2024;70(11):979-986" in page
    for code, wrong in (("check_hours", "0"), ("blood_hours", ""), ("wet_open_days", "1.5")):
        assert sends(client, "/policy", **{**given, "read_version": "2", code: wrong}) == 422


def test_what_a_place_wants_is_kept(ward: Ward) -> None:
    client = signed_in(ward, "stock")
    wanted = {
        "place_id": str(ward.places["box 3"]),
        "code": "BOX-3",
        "name": "box 3",
        "kind": "box",
        "stands_for": "boxed",
        "wanted": "2",
        "least_left": "7,5",
        "accepts": ["Adult 3/8"],
    }
    assert sends(client, "/places", **wanted) == 302
    with ward.reads() as session:
        (box,) = [each for each in places(session, ward.site.id) if each.name == "box 3"]
    assert (box.wanted, box.accepts, box.least_left) == (2, ("Adult 3/8",), timedelta(hours=7.5))
    page = client.get("/places").get_data(as_text=True)
    assert "2 of them, Adult 3/8, use-by at least 7.5 h away" in page


def test_a_circuit_is_opened_from_its_page_and_the_page_offers_it_once(ward: Ward) -> None:
    circuit = ward.prime()
    client = signed_in(ward, "bedside")
    assert "It was opened" in client.get("/circuits/C-0001").get_data(as_text=True)
    assert sends(client, "/circuits/C-0001/opened") == 302
    page = client.get("/circuits/C-0001").get_data(as_text=True)
    assert "It was opened" not in page
    assert "Opened; its use-by is shorter now" in page
    # The old tag says a use-by that is too late: pages that show the new one say so.
    assert "print it anew" in page
    assert "An older tag shows a use-by that is too late" in client.get("/").get_data(as_text=True)
    assert ward.facts(circuit).way == "wet-open"


def test_a_circuit_taken_by_an_old_tag_says_so_and_goes_on(ward: Ward) -> None:
    ward.prime()
    client = signed_in(ward, "bedside")
    assert sends(client, "/circuits/C-0001/tag") == 302
    assert sends(client, "/circuits/C-0001/opened") == 302
    assert sends(client, "/take", tag=circuit_symbol(site_code(ward.site.id), "C-0001")) == 302
    page = client.get("/taken/C-0001").get_data(as_text=True)
    assert "Old tag. This is C-0001, use by" in page
    assert "Go on. It is recorded." in page


def test_a_circuit_taken_by_its_newest_tag_says_nothing_of_an_old_one(ward: Ward) -> None:
    ward.prime()
    client = signed_in(ward, "bedside")
    assert sends(client, "/circuits/C-0001/opened") == 302
    assert sends(client, "/circuits/C-0001/tag") == 302
    assert sends(client, "/take", tag=circuit_symbol(site_code(ward.site.id), "C-0001")) == 302
    assert "Old tag" not in client.get("/taken/C-0001").get_data(as_text=True)
