"""Pages of the procedure's steps: who may, what is kept of a form, and what a trolley answers."""

import io
from pathlib import Path
from typing import Any
from uuid import uuid4

from flask.testing import FlaskClient

from tests.make import NOON, TAP, Ward, code
from tests.printing.paper import text
from tests.web.test_stock import signed_in
from traceability.domain.act_cards import Act
from traceability.domain.tags import SymbolKind, write_symbol
from traceability.reads.steps import step_lists, steps_by_number

EXAMPLES = Path(__file__).parents[2] / "demo_data" / "step_lists"


def upload(client: FlaskClient, data: bytes) -> Any:
    file = (io.BytesIO(data), "steps.toml")
    return client.post("/steps/file", data={"file": file, "request_id": str(uuid4())})


def form(*names: str, **more: str) -> dict[str, str]:
    rows = {f"step-{n}-name": name for n, name in enumerate(names)}
    return {
        "request_id": str(uuid4()),
        "way": "wet-closed",
        "read_version": "0",
        **rows,
        **more,
    }


def names_of(ward: Ward) -> list[str]:
    with ward.reads() as session:
        found = step_lists(session, ward.site.id)
    return [step.name for step in found[0].steps.steps] if found else []


def test_a_list_is_taken_from_a_file_only_after_it_was_seen(ward: Ward) -> None:
    client = signed_in(ward, "STOCK1")
    shown = upload(client, (EXAMPLES / "dry.toml").read_bytes())
    assert shown.status_code == 200
    assert "Nothing is kept yet." in shown.text
    assert 'value="Not filled: said aloud"' in shown.text
    assert names_of(ward) == []
    refused = upload(client, b"way = 'dry'\n[[steps]]\nname = 'Ties on'\ncolour = 'blue'\n")
    assert refused.status_code == 422
    assert "colour is nothing that is known here. Nothing was taken in." in refused.text
    assert upload(signed_in(ward, "PRIMER1"), b"").status_code == 403


def test_rows_are_kept_in_the_order_of_their_places_and_nothing_is_lost_when_refused(
    ward: Ward,
) -> None:
    client = signed_in(ward, "STOCK1")
    refused = client.post(
        "/steps",
        data=form(
            "Ties on",
            "Fill",
            **{
                "step-1-reading-0-name": "Volume",
                "step-1-reading-0-unit": "L",
                "step-1-reading-0-least": "much",
            },
        ),
    )
    assert refused.status_code == 422
    assert "much is no number" in refused.text
    assert 'value="Ties on"' in refused.text
    assert 'value="Volume"' in refused.text
    assert names_of(ward) == []
    places = {"step-0-place": "1", "step-1-place": "3", "step-2-place": "1,5"}
    assert (
        client.post("/steps", data=form("Ties on", "Covered", "Clamped", **places)).status_code
        == 302
    )
    assert names_of(ward) == ["Ties on", "Clamped", "Covered"]
    stale = client.post("/steps", data=form("Ties on"))
    assert stale.status_code == 409
    shown = client.get("/steps").text
    assert "replaces no training" in shown
    assert "It stands now." in client.get("/steps/version?way=wet-closed&version=1").text
    assert client.get("/steps/version?way=wet-closed&version=2").status_code == 404
    paper = client.get("/steps.pdf?way=wet-closed")
    assert "Clamped" in text(paper.data)
    assert "replaces no training" in text(paper.data)


def trolley(ward: Ward) -> tuple[FlaskClient, str]:
    """Begin a prime with the example's list, at a trolley where the helper is signed in."""
    stock = signed_in(ward, "STOCK1")
    rows = form("Type read", "Fill", "Looked at by both")
    rows |= {
        "step-1-reading-0-name": "Volume",
        "step-1-reading-0-unit": "L",
        "step-1-reading-0-least": "0,2",
        "step-1-reading-0-most": "2",
        "step-2-both": "1",
    }
    assert stock.post("/steps", data=rows).status_code == 302
    circuit = ward.begin()
    return signed_in(ward, "HELPER1"), ward.number(circuit)


def does(client: FlaskClient, number: str, act: str, **more: object) -> dict[str, Any]:
    body = {"request_id": str(uuid4()), "at": NOON.isoformat(), "act": act, **more}
    answer = client.post(f"/prime/{number}/act", json=body)
    assert answer.status_code < 500
    return dict(answer.json or {})


def scans(client: FlaskClient, number: str, sent: str, **more: object) -> dict[str, Any]:
    body = {"request_id": str(uuid4()), "at": NOON.isoformat(), "text": sent, **more}
    body["channel"] = "physical-keys"
    answer = client.post(f"/prime/{number}/scan", json=body)
    assert answer.status_code < 500
    return dict(answer.json or {})


def test_two_screens_that_show_one_step_say_it_once(ward: Ward) -> None:
    client, number = trolley(ward)
    first = does(client, number, "NEXT", step="type-read")
    assert (first["verdict"], first["next"]["step"]) == ("accepted", "fill")
    second = does(client, number, "NEXT", step="type-read")
    assert (second["verdict"], second["sentence"]) == ("look-again", "Said already: Type read")
    with ward.reads() as session:
        found = steps_by_number(session, ward.site.id, number)
    assert [each.step.id for each in found.open] == ["fill", "looked-at-by-both"]


def test_a_lost_answer_is_given_again_and_a_part_may_be_scanned_in_between(ward: Ward) -> None:
    client, number = trolley(ward)
    request = str(uuid4())
    first = does(client, number, "NEXT", step="type-read", request_id=request)
    again = does(client, number, "NEXT", step="type-read", request_id=request)
    assert (again["sentence"], again["verdict"]) == (first["sentence"], "accepted")
    asked = does(client, number, "NEXT", step="fill")
    assert asked["asking"]["pad"] == {"label": "Volume", "unit": "L"}
    part = scans(client, number, code(TAP, "T77-0B1"), asking=asked["asking"])
    assert (part["verdict"], part["asking"]) == ("accepted", None)
    number_said = scans(client, number, "]C01,5", asking=asked["asking"])
    assert number_said["sentence"] == "Done: Fill"


SENT_BACK = (
    "text",
    5,
    ["want"],
    {"want": ["reading"]},
    {"want": "reading", "step": "fill", "given": {"volume": {}}},
)


def test_what_no_page_sends_back_is_answered_all_the_same(ward: Ward) -> None:
    client, number = trolley(ward)
    for asking in SENT_BACK:
        for act in ("NEXT", "STEPS", "SAID", "NEEDED", "REASON", "STEP", "STEPNOTDONE"):
            found = does(client, number, act, asking=asking, choice="no-such-step", said="1")
            assert found["sentence"]
        card = write_symbol(SymbolKind.ACT, str(Act.NEXT))
        assert scans(client, number, card, asking=asking)["sentence"]
