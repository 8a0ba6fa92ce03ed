"""Pages of the shelves: who may, what is not known, and what no person typed."""

import re
from datetime import timedelta
from uuid import uuid4
from xml.etree import ElementTree

import pytest
from flask.testing import FlaskClient
from sqlalchemy import select

from app import create_app
from tests.make import NOON, PIN, TAP, Ward, code
from tests.stock_acts import Shelves
from traceability.domain.stock import Primes
from traceability.domain.stock_ahead import WeekAhead
from traceability.storage.kept_apart import KeptApart
from traceability.storage.stock import StockReceipt
from traceability.web.pictures.weeks import weeks_ahead

LOT = "T77-0B1"


def signed_in(ward: Ward, badge: str) -> FlaskClient:
    client = create_app(services=ward.services).test_client()
    client.get("/sign-in")
    client.post("/sign-in", data={"badge": badge, "pin": PIN, "request_id": str(uuid4())})
    return client


def fields(**more: str) -> dict[str, str]:
    return {"request_id": str(uuid4()), **more}


def test_who_does_not_keep_stock_looks_and_books_nothing(ward: Ward) -> None:
    Shelves(ward).receive(code(TAP, LOT))
    tap = Shelves(ward).key(TAP)
    assert create_app(services=ward.services).test_client().get("/stock").status_code == 302
    client = signed_in(ward, "PRIMER1")
    assert client.get("/stock").status_code == 200
    assert "Save the count" not in client.get(f"/stock/{tap}").text
    assert client.get("/stock/receive").status_code == 403
    for path, sent in {
        "/stock/receive": {"text": code(TAP, LOT)},
        f"/stock/{tap}/count": {"count-0": "3", "lot-0": LOT, "place-0": str(uuid4())},
        f"/stock/{tap}/out": {"which": f" {LOT}", "quantity": "1", "reason": "broken"},
    }.items():
        assert client.post(path, data=fields(**sent)).status_code == 403
    assert Shelves(ward).of(TAP).total == 1


@pytest.mark.parametrize(
    ("path", "sent", "status"),
    [
        ("/stock/receive", {"text": "", "packs": "1"}, 422),
        ("/stock/receive", {"text": "x", "packs": "many"}, 422),
        ("/stock/receive", {"text": "x" * 5000, "packs": "1"}, 422),
        ("/stock/receive", {"text": code(TAP, LOT), "place_id": "nowhere"}, 422),
        ("/stock/receive", {"text": code(TAP, LOT), "shipped": "yesterday"}, 422),
        ("/stock/{tap}/count", {"count-0": "\u00b2", "lot-0": LOT, "place-0": ""}, 422),
        ("/stock/{tap}/count", {}, 422),
        ("/stock/{tap}/move", {"which": "", "quantity": "1"}, 422),
        ("/stock/{tap}/out", {"which": f" {LOT}", "quantity": "1", "reason": "tired"}, 422),
        ("/stock/{none}/count", {"count-0": "1", "lot-0": LOT, "place-0": "{place}"}, 404),
        ("/stock/not-an-id/count", {}, 404),
    ],
)
def test_what_no_person_typed_is_answered_in_a_sentence(
    ward: Ward, path: str, sent: dict[str, str], status: int
) -> None:
    known = {
        "tap": str(Shelves(ward).key(TAP)),
        "none": str(uuid4()),
        "place": str(ward.places["box 3"]),
    }
    client = signed_in(ward, "STOCK1")
    filled = {name: value.replace("{place}", known["place"]) for name, value in sent.items()}
    answer = client.post(path.format(**known), data=fields(**filled))
    assert answer.status_code == status
    assert "Traceback" not in answer.text
    with ward.reads() as session:
        assert session.scalars(select(StockReceipt)).all() == []


def test_a_wristband_read_at_the_shelves_is_kept_nowhere(ward: Ward) -> None:
    client = signed_in(ward, "STOCK1")
    answer = client.post("/stock/receive", data=fields(text="]d28018952123456789012345"))
    assert answer.status_code == 422
    assert "952123456789012345" not in answer.text
    with ward.reads() as session:
        assert session.scalars(select(KeptApart.text)).all() == []


def test_an_unknown_code_leads_to_its_product_and_back(ward: Ward) -> None:
    client = signed_in(ward, "STOCK1")
    answer = client.post("/stock/receive", data=fields(text=code("09521234000099", "X1")))
    link = re.search(r"href=\"(/products/new[^\"]+)", answer.text)
    assert link is not None
    page = client.get(link[1].replace("&amp;", "&"))
    assert 'value="09521234000099"' in page.text
    assert 'name="then" value="receive"' in page.text


def test_the_picture_says_each_week_and_none_with_an_open_bead(ward: Ward) -> None:
    weeks = [
        WeekAhead(
            starts=NOON + timedelta(days=7 * number),
            possible=Primes(count=count, limiting=("tap",)),
            expiring={"tap": 4} if number == 1 else {},
            wanted=1,
            made=min(count, 1),
        )
        for number, count in enumerate((2, 1, 0))
    ]
    drawn = weeks_ahead("Adult 3/8", weeks, {"tap": "Tap <&>"}, ward.site.zone, key="k")
    svg = ElementTree.fromstring(drawn)  # noqa: S314 - our own drawing
    said = ["".join(each.itertext()) for each in svg]
    assert "2031-05-06: 2; 2031-05-13: 1; 2031-05-20: 0" in said
    assert [text for text in said if text in {"2", "1", "0"}] == ["2", "1", "1", "1", "0"]
    assert "0 of 1" in said
    assert "4 Tap <&>" in said
    assert drawn.count('class="m-open"') == 1
