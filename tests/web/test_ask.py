"""Ask anything: what each kind of text leads to, who sees patients, and what is never kept."""

import logging
from datetime import timedelta
from uuid import UUID

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from tests.make import CANNULA, PACK, TAP, UNKNOWN, Ward, code
from tests.web.test_shelf_pages import signed_in, ward
from traceability.domain.keys import product_key
from traceability.domain.tags import (
    SymbolKind,
    badge_symbol,
    circuit_symbol,
    place_symbol,
    write_symbol,
)
from traceability.reads.lists import site_facts

__all__ = ["ward"]

WRISTBAND = "0107-55-PATIENT"


@pytest.fixture
def told(ward: Ward) -> UUID:
    """A circuit on a patient, with a cannula and a heater-cooler, and one that stands ready."""
    circuit = ward.prime("T77-0B1")
    run = UUID(str(ward.take(circuit).facts["run_id"]))
    ward.flow_on(circuit)
    ward.patient(run, WRISTBAND)
    ward.part_in(run, code(CANNULA, "CN-1"))
    ward.equip(run_id=run, equipment_id=ward.machine("HC-0077", asset_number="A-113"))
    ward.now += timedelta(hours=3)
    ward.prime("T-OTHER")
    return circuit


def asks(client: FlaskClient, text: str) -> TestResponse:
    return client.post("/ask", data={"q": text}, follow_redirects=True)


def own(ward: Ward, kind: SymbolKind, name: str) -> str:
    with ward.reads() as session:
        return write_symbol(kind, f"{site_facts(session).code}.{name}")


@pytest.mark.usefixtures("told")
@pytest.mark.parametrize(
    ("text", "heading"),
    [
        (code(TAP, "T77-0B1"), "Lot"),
        (code(CANNULA, "CN-1"), "Lot"),
        ("C-0001", "Circuit"),
        ("c-0001", "Circuit"),
        ("R-0001", "Run"),
        ("A-113", "Machine"),
        ("HC-0077", "Machine"),
        ("Primer A.", "Primer A."),
        ("2031-05-06", "Days"),
        ("2031-05-01 to 2031-05-31", "Days"),
        ("2031-05", "Days"),
        ("console 3", "Place"),
        ("4K0O17I1", "Lot"),
        (code(TAP, "NEVER"), "Lot"),
    ],
)
def test_one_meaning_is_followed_at_once(ward: Ward, text: str, heading: str) -> None:
    page = asks(signed_in(ward, "recall"), text)
    assert page.status_code == 200
    assert "Which one is meant?" not in page.text, page.text
    head = page.text.partition("<h1>")[2].partition("</h1>")[0]
    assert heading in head
    assert "This page is no recall answer." in page.text


def test_our_own_symbols_are_taken_at_their_word(ward: Ward, told: UUID) -> None:
    client = signed_in(ward, "recall")
    with ward.reads() as session:
        site = site_facts(session).code
    for text, heading in (
        (circuit_symbol(site, "C-0001"), "Circuit"),
        (badge_symbol("PRIMER1"), "Primer A."),
        (write_symbol(SymbolKind.PART, f"{site}.A-113"), "Machine"),
    ):
        assert heading in asks(client, text).text.partition("<h1>")[2].partition("</h1>")[0], text
    for text, said in (
        (circuit_symbol("ZZZZ", "C-0001"), "made at another site"),
        (circuit_symbol(site, "C-0001")[:-3], "Only half of one of our symbols"),
        (circuit_symbol(site, "C-0001")[:-1] + "*", "One character of this symbol is wrong"),
        (circuit_symbol(site, "C-9999"), "not on record here"),
        (write_symbol(SymbolKind.ACT, "UNDO"), "act card"),
        (place_symbol(site, "NO-PLACE"), "not on the list of places"),
        (badge_symbol("NOBODY9"), "nobody who works here now"),
    ):
        assert said in asks(client, text).text, text


def test_several_meanings_are_offered_and_none_is_chosen(ward: Ward, told: UUID) -> None:
    page = asks(signed_in(ward, "recall"), "T")
    assert "Which one is meant?" in page.text
    assert page.request.path == "/ask"
    page = asks(signed_in(ward, "recall"), "Oskerby")
    assert page.text.count("Every lot of") >= 3


def test_what_nobody_knows_is_no_answer_yet(ward: Ward, told: UUID) -> None:
    page = asks(signed_in(ward, "recall"), "no such thing")
    assert "Nothing here goes by that." in page.text
    assert "That is no answer yet." in page.text
    page = asks(signed_in(ward, "recall"), code(TAP, "NEVER"))
    assert "Nothing recorded touches it. That is no answer yet." in page.text
    assert "Ask which circuits may have held it" in page.text


def test_a_wristband_leads_to_the_patient_and_stands_in_no_address(
    ward: Ward, told: UUID, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.DEBUG)
    client = signed_in(ward, "recall")
    answered = client.post("/ask", data={"q": WRISTBAND})
    assert answered.status_code == 302
    assert answered.location == "/ask/patient?text=R-0001"
    page = client.get(answered.location)
    assert WRISTBAND not in page.text, "shown only where it is asked for"
    assert "C-0001" in page.text
    assert "T77-0B1" in page.text.replace("<b>", "").replace("</b>", "")
    shown = client.post(answered.location)
    assert WRISTBAND in shown.text
    assert WRISTBAND not in caplog.text


@pytest.mark.parametrize("text", [WRISTBAND, "TEMP-1", "]d28018123456789012345675", "(8018)12345"])
def test_patients_are_hidden_from_who_may_not_see_them(ward: Ward, told: UUID, text: str) -> None:
    ward.patient(UUID(str(ward.take(ward.prime()).facts["run_id"])))
    client = signed_in(ward, "pharmacist")
    page = client.post("/ask", data={"q": text})
    assert page.status_code == 200
    assert text not in page.text, "what was typed is not given back: it may be a wristband"
    hidden = "Patients are not looked up for you." in page.text
    assert hidden or "Patients are not shown to you." in page.text
    for path in ("/ask/circuit?text=C-0001", "/ask/run?text=R-0001"):
        seen = client.get(path)
        assert "Patients are not shown to you." in seen.text
        assert WRISTBAND not in seen.text
        assert "Patient of" not in seen.text
        assert "TEMP-" not in seen.text
        assert client.post(path).status_code == 403
    assert client.get("/ask/patient?text=R-0001").status_code == 403


def test_nobody_asks_without_signing_in(ward: Ward, told: UUID) -> None:
    stranger = signed_in(ward, "recall").application.test_client()
    for path in ("/ask", "/ask/circuit?text=C-0001"):
        assert stranger.get(path).status_code != 200


@pytest.mark.parametrize(
    "text",
    [
        "<script>alert(1)</script>",
        "%_%",
        "\\",
        "' OR 1=1 --",
        "=cmd|' /C calc'!A0",
        "\x1b[31mred",
        "\ud800",
        "9" * 399,
        "x" * 3000,
        "CT1.",
        "2031-02-30",
        "9999-99",
        "2031-05-06 to 2031-05-01",
        f"]d201{UNKNOWN}10{'A' * 20}",
        "\x00",
    ],
)
def test_hostile_texts_are_only_looked_for(ward: Ward, told: UUID, text: str) -> None:
    client = signed_in(ward, "recall")
    page = client.post("/ask", data={"q": text.encode("utf-8", "surrogatepass")})
    assert page.status_code in {200, 302}, page.text
    assert "<script>alert" not in page.text
    if page.status_code == 302:
        assert "<script>alert" not in client.get(page.location).text


@pytest.mark.parametrize(
    "path",
    [
        "/ask/lot",
        "/ask/lot?of=1&text=x",
        f"/ask/lot?of={UUID(int=7)}&text=x",
        "/ask/circuit?text=C-9999",
        "/ask/run?text=%00",
        "/ask/machine",
        "/ask/place?of=x",
        "/ask/person",
        f"/ask/person?of={UUID(int=7)}",
        "/ask/span?text=2031-13-01",
        "/ask/span?text=9999-12-31..9999-12-31",
        "/ask/gap?text=x",
        "/ask/nothing",
        "/ask/circuit?text=C-0001&from=x",
        "/ask/circuit?text=C-0001&as_of=never",
    ],
)
def test_an_address_that_names_nothing_is_answered_with_a_sentence(
    ward: Ward, told: UUID, path: str
) -> None:
    assert signed_in(ward, "recall").get(path).status_code in {404, 422}


def test_names_in_the_record_are_escaped_in_the_pictures(ward: Ward, told: UUID) -> None:
    ward.at("stock").product(PACK, "<script>alert(2)</script>", "circuit-pack", circuit_type="A")
    page = signed_in(ward, "recall").get("/ask/circuit?text=C-0001")
    assert page.status_code == 200
    assert "<script>alert(2)" not in page.text
    assert "&lt;script&gt;alert(2)" in page.text


def test_as_known_before_the_lot_was_there_it_touches_nothing(ward: Ward, told: UUID) -> None:
    tap = product_key("gs1", TAP, site_id=ward.site.id)
    client = signed_in(ward, "recall")
    path = f"/ask/lot?of={tap}&text=T77-0B1"
    assert "Touches 1 circuit, 1 run, 1 patient." in client.get(path).text
    assert "Nothing recorded touches it." in client.get(f"{path}&as_of=20").text
