"""Pages of a scope: what was understood, what a person decides, and the ways on."""

import base64
import html
import io
import json
import re
from urllib.parse import parse_qs, urlsplit

import pytest
from flask.testing import FlaskClient
from openpyxl import Workbook
from sqlalchemy import func, select

from app import create_app
from tests.make import TAP, UNKNOWN, Ward, code
from tests.stock_acts import Shelves
from tests.web.test_stock import signed_in
from traceability.domain.notice_scope import read_scope
from traceability.storage.ledger import LedgerEvent


@pytest.fixture
def client(ward: Ward) -> FlaskClient:
    return signed_in(ward, "PRIMER1")


def words(page: str) -> str:
    inside = re.sub(r"<textarea hidden.*?</textarea>", "", page.partition("<main")[2], flags=re.S)
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", "", inside)))


def hidden(page: str) -> dict[str, str]:
    """Return what the page's first form carries along, as a browser would send it."""
    form = page.partition('class="scope-form"')[2].partition("</form>")[0]
    found = dict(re.findall(r'<textarea hidden name="([^"]+)"[^>]*>\n(.*?)</textarea>', form, re.S))
    for tag in re.findall(r"<input type=\"hidden\"[^>]*>", form):
        name, value = re.search(r'name="([^"]*)"', tag), re.search(r'value="([^"]*)"', tag)
        assert name
        found[name[1]] = value[1] if value else ""
    return {html.unescape(name): html.unescape(text) for name, text in found.items()}


def asked(page: str) -> dict[str, object]:
    """Return the scope that "Ask it now" asks."""
    link = re.search(r'href="(/recall/answer\?scope=[^"]*)"', page)
    if link:
        (text,) = parse_qs(urlsplit(html.unescape(link[1])).query)["scope"]
    else:
        posted = re.search(
            r'action="/recall/answer"><textarea hidden name="scope"[^>]*>(.*?)</textarea>',
            page,
            re.S,
        )
        assert posted
        text = html.unescape(posted[1])
    body: dict[str, object] = json.loads(text)
    read_scope(body)
    return body


def test_only_who_may_ask_looks_at_a_scope(ward: Ward) -> None:
    nobody = create_app(services=ward.services).test_client()
    assert nobody.get("/scope").status_code == 302
    assert nobody.post("/scope", data={"pasted": "TA-1"}).status_code == 302
    assert nobody.post("/scope/rows.csv", data={"pasted": "TA-1"}).status_code == 302


def test_a_paste_is_shown_decided_and_handed_on_and_nothing_is_saved(
    ward: Ward, client: FlaskClient
) -> None:
    Shelves(ward).receive(code(TAP, "TA-0701"))
    with ward.reads() as reads:
        before = reads.scalar(select(func.count()).select_from(LedgerEvent))
    first = client.post(
        "/scope",
        data={
            "product": TAP,
            "pasted": "Lot\nTA-0701\n1E5\nTA-0720 to TA-0730\nn/a",
            "notice": "N-26-014",
            "read_version": "3",
        },
    ).text
    assert "1 row waits for you" in words(first)
    assert "1 of 1 lot ever seen here." in words(first)
    assert "Says itself that there is no lot" in words(first)
    assert "Ask it now" not in first
    again = hidden(first)
    second = client.post("/scope", data={**again, "row:line 3": "both"}).text
    assert "Not ready." in words(second)
    assert "Ask it now" not in second
    third = client.post("/scope", data={**hidden(second), "looked": "1"}).text
    scope = asked(third)
    product = {"standard": "gs1", "identifier": TAP}
    assert scope == {
        "any_of": [
            {
                "products": [product],
                "tests": [{"test": "lots", "texts": ["TA-0701", "1E5", "1E05", "100000"]}],
            },
            {
                "products": [product],
                "tests": [{"test": "lot-range", "from": "TA-0720", "to": "TA-0730"}],
            },
        ]
    }
    use = third.split('action="/notices/N-26-014/scope"')[1].split("</form>")[0]
    assert all(
        f'name="{name}"' in use for name in ("scope", "read_version", "source", "at", "request_id")
    )
    assert 'name="read_version" value="3"' in use
    with ward.reads() as reads:
        assert reads.scalar(select(func.count()).select_from(LedgerEvent)) == before


def test_a_spreadsheet_goes_along_until_it_is_settled(client: FlaskClient) -> None:
    book = Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.title = "Lots"
    for row in (["GTIN", "Lot"], [TAP, "0417"], [TAP, 418]):
        sheet.append(row)
    out = io.BytesIO()
    book.save(out)
    sent = {"file": (io.BytesIO(out.getvalue()), "lots <b>.xlsx"), "act": "look"}
    first = client.post("/scope", data=sent, content_type="multipart/form-data").text
    assert "Lots!B3" in words(first)
    assert "leading zeros may be lost" in words(first)
    kept = hidden(first)
    assert base64.b64decode(kept["kept"]) == out.getvalue()
    assert kept["kept_name"] == "lots <b>.xlsx"
    second = client.post("/scope", data={**kept, "written:Lots!B3": "0418"}).text
    assert asked(second)["any_of"][0]["tests"] == [{"test": "lots", "texts": ["0417", "0418"]}]  # type: ignore[index]
    form = client.post("/scope", data={**kept, "act": "edit"}).text
    assert "Keep lots &lt;b&gt;.xlsx" in form


def test_scans_gather_until_they_are_looked_at(client: FlaskClient) -> None:
    first = client.post("/scope", data={"scan": code(TAP, "TA-1")})
    assert "Scan taken." in words(first.text)
    scans = html.unescape(re.findall(r'name="scans"[^>]*>\n(.*?)</textarea>', first.text, re.S)[0])
    second = client.post(
        "/scope", data={"scan": code(UNKNOWN, "U-1"), "scans": scans, "act": "look"}
    ).text
    assert [each["products"][0]["identifier"] for each in asked(second)["any_of"]] == [TAP, UNKNOWN]  # type: ignore[attr-defined]
    assert "is not known here. The code is kept all the same" in words(second)


def test_clauses_are_written_and_contradictions_told(client: FlaskClient) -> None:
    sent = {"c0-products": TAP, "c0-lots": "A1, A2", "c0-x_lots": "A1, A2"}
    page = client.post("/scope", data=sent).text
    assert "It matches nothing." in words(page)
    more = client.post("/scope", data={**sent, "act": "more"}).text
    assert 'name="c1-products"' in more
    assert ">\nA1, A2</textarea>" in more
    every = client.post("/scope", data={"c0-kind": "heater-cooler"}).text
    assert "1 row waits for you" in words(every)
    settled = client.post("/scope", data={**hidden(every), "group:every.1": "read"}).text
    assert "Asks for everything of this kind" in words(settled)
    assert asked(settled) == {"any_of": [{"products": [{"kind": "heater-cooler"}]}]}


def test_columns_without_heading_are_set_by_a_person(client: FlaskClient) -> None:
    text = f"{TAP};TA-1;77\n{TAP};TA-2;78\n"
    first = client.post("/scope", data={"pasted": text}).text
    assert "no heading, so this is a guess" in words(first)
    sent = {**hidden(first), "column-0": ["code", "", "lot"], "columns-0": "1"}
    second = client.post("/scope", data=sent).text
    assert asked(second)["any_of"][0]["tests"][0]["texts"] == ["77", "78"]  # type: ignore[index]


@pytest.mark.parametrize(
    "text",
    [
        "<script>alert(1)</script>",
        "TA\"1' onmouseover=x",
        "</textarea><img src=x>",
        "=HYPERLINK(1)",
        "\x00\x01",
        "{{ 7*7 }}",
    ],
)
def test_hostile_text_is_shown_and_does_nothing(client: FlaskClient, text: str) -> None:
    for name in ("pasted", "scans", "name", "c0-lots", "c0-supplier", "notice"):
        sent = {"product": TAP, "pasted": "TA-1", "c0-products": "", name: text}
        page = client.post("/scope", data=sent)
        assert page.status_code == 200
        assert "<script>alert" not in page.text
        assert "<img src=x" not in page.text
        assert hidden(page.text)[name].strip() in {text, text.strip()} or name == "notice"
    table = client.post("/scope/rows.csv", data={"product": TAP, "pasted": text})
    assert not re.search(r"(^|,)[=@]", table.text, re.M)


@pytest.mark.parametrize(
    ("sent", "said"),
    [
        ({}, "Nothing was given yet."),
        ({"pasted": "   \n "}, "Nothing was given yet."),
        ({"pasted": "TA-1"}, "Of which product?"),
        ({"pasted": "TA-1", "product": "tap"}, "No product code that can be read"),
        ({"pasted": "TA-1", "product": TAP[:-1] + "9"}, "a digit is wrong"),
        ({"pasted": "{"}, "This is no JSON that can be read"),
        ({"kept": "%%%", "kept_name": "a.csv"}, "did not come back whole"),
        ({"pasted": "TA-1", "product": TAP, "kept": ""}, "did not come back whole"),
        (
            {"pasted": json.dumps({"any_of": [{"products": [{"kind": "tap"}]}], "x": 1})},
            "passed over: x",
        ),
        ({"c0-products": TAP, "c0-made_from": "soon"}, "Write it as YYYY-MM-DD"),
        ({"c0-products": TAP, "c0-used_from": "soon"}, "Write it as YYYY-MM-DD HH:MM"),
    ],
)
def test_what_cannot_be_a_scope_is_told_and_offers_no_way_on(
    client: FlaskClient, sent: dict[str, str], said: str
) -> None:
    page = client.post("/scope", data=sent)
    assert page.status_code in {200, 422}
    assert said in words(page.text)
    assert "Ask it now" not in page.text


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"%PDF-1", "Open it, copy its table"),
        (b"x" * (4 * 2**20 + 1), "larger than 4 MB"),
        (b"", "This file is empty"),
    ],
)
def test_wrong_and_too_large_files_are_refused_in_words(
    client: FlaskClient, data: bytes, said: str
) -> None:
    page = client.post("/scope", data={"kept": base64.b64encode(data).decode()})
    assert page.status_code == 200
    assert said in words(page.text)


def test_fifty_thousand_lots_show_their_first_rows_and_go_on_as_a_form(client: FlaskClient) -> None:
    lots = "\n".join(f"TA-{n:06}" for n in range(50_000))
    page = client.post("/scope", data={"product": TAP, "pasted": lots})
    assert "50,000 taken" in words(page.text)
    assert "The first 100 of 50,000." in words(page.text)
    assert len(page.data) < 2_500_000
    assert len(asked(page.text)["any_of"][0]["tests"][0]["texts"]) == 50_000  # type: ignore[index]
    table = client.post("/scope/rows.csv", data=hidden(page.text))
    assert table.text.count("\n") == 50_001
