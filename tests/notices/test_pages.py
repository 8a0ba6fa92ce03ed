"""Pages of notices through the web: what each role sees and may do, papers, files, exceptions."""

import csv
import io
import json
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from uuid import uuid4

import pytest
from flask.testing import FlaskClient
from sqlalchemy import create_engine, select
from werkzeug.test import TestResponse

from app import create_app
from tests.make import PIN, TAP, Ward, code, opened_ward
from tests.notices.answering import by_lot
from tests.notices.work import LETTER, asks, gives, newest, opens, says, scope_of, scopes, tasks_of
from tests.printing.paper import text as text_of
from tests.stock_acts import Shelves
from traceability.cli.ask_notices import NoticesAsked
from traceability.domain.known_rows import key_of
from traceability.storage.ledger import LedgerEvent
from traceability.storage.metadata import metadata
from traceability.storage.notice_answers import NoticeAnswer


@pytest.fixture
def ward(tmp_path: Path) -> Iterator[Ward]:
    url = f"sqlite:///{tmp_path / 't.db'}"
    engine = create_engine(url)
    metadata.create_all(engine)
    engine.dispose()
    with opened_ward(url, tmp_path) as made:
        made.services.clock = lambda: made.now
        made.services.known_site = replace(made.services.site, clock=lambda: made.now)
        made.services.answering = by_lot
        yield made


def signed_in(ward: Ward, name: str) -> FlaskClient:
    client = create_app(services=ward.services).test_client()
    client.get("/sign-in")
    badge = {"badge": f"{name.upper()}1", "pin": PIN, "request_id": str(uuid4())}
    assert client.post("/sign-in", data=badge).status_code == 302
    return client


def sends(client: FlaskClient, path: str, **fields: object) -> TestResponse:
    return client.post(path, data={"request_id": str(uuid4()), **fields})


def table(answer: TestResponse) -> list[dict[str, str]]:
    assert answer.status_code == 200, answer.text
    return list(csv.DictReader(io.StringIO(answer.text, newline="")))


OPENS = {
    "title": "Three-way tap, leak",
    "sender_kind": "maker",
    "sender": "Oskerby Devices",
    "reference": "=HYPERLINK(1)",
    "rule": "correction-maker",
}


def test_a_letter_with_its_files_becomes_a_notice_with_its_due_day(ward: Ward) -> None:
    client = signed_in(ward, "recall")
    files = [
        (io.BytesIO(b"%PDF-1.7 a letter"), "letter.pdf"),
        (io.BytesIO(b"lot\r\nTA-1\r\n"), "<b>lots</b>.csv"),
    ]
    answer = sends(client, "/notices", **OPENS, files=files)
    assert answer.headers["Location"] == "/notices/N-0001"
    page = client.get("/notices/N-0001").text
    assert "Reply due 2031-05-20: 10 work days" in page
    assert "21 CFR 806.10(b)" in page
    assert "10 work days left" in page
    assert "<b>lots</b>" not in page
    assert "&lt;b&gt;lots&lt;/b&gt;.csv" in page
    links = [each.split('"')[0] for each in page.split('href="')[1:]]
    pdf, sheet = (each for each in links if "/files/" in each)
    shown, handed_out = client.get(pdf), client.get(sheet)
    assert shown.headers["Content-Disposition"].startswith("inline")
    assert shown.content_type == "application/pdf"
    assert handed_out.headers["Content-Disposition"].startswith("attachment")
    assert handed_out.content_type == "application/octet-stream"
    for given in (shown, handed_out):
        assert given.headers["X-Content-Type-Options"] == "nosniff"
        assert "default-src 'none'" in given.headers["Content-Security-Policy"]
    assert client.get(pdf.replace("N-0001", "N-0002")).status_code == 404


def test_a_file_that_cannot_be_kept_says_why_and_opens_nothing(ward: Ward) -> None:
    client = signed_in(ward, "recall")
    bad = sends(client, "/notices", **OPENS, files=[(io.BytesIO(b"MZ"), "run.exe")])
    assert bad.status_code == 422
    assert "run.exe cannot be kept: it is no PDF" in bad.text
    assert "No open notice" in client.get("/notices").text
    assert sends(signed_in(ward, "stock"), "/notices", **OPENS).status_code == 403


def test_a_scope_that_was_amended_meanwhile_asks_back_and_loses_nothing(ward: Ward) -> None:
    opens(ward)
    client = signed_in(ward, "engineer")
    first = {"scope": json.dumps(scope_of("T77-0B1")), "read_version": 0, "source": "typed"}
    assert sends(client, "/notices/N-0001/scope", **first).status_code == 302
    late = {"scope": json.dumps(scope_of("T99")), "read_version": 0, "source": "pasted, 1 row"}
    again = sends(client, "/notices/N-0001/scope", **late)
    assert again.status_code == 409
    assert "nothing is lost" in again.text
    assert "T77-0B1" in again.text
    assert "T99" in again.text
    assert 'name="read_version" value="1"' in again.text
    assert "pasted, 1 row" in again.text
    assert sends(client, "/notices/N-0001/scope", **(late | {"read_version": 1})).status_code == 302
    assert "Version 2" in client.get("/notices/N-0001").text


@pytest.mark.parametrize(
    "scope", ["", "no json", "[]", '{"any_of": []}', '{"any_of": 1.5}', "[" * 100_000, "NaN"]
)
def test_what_is_no_scope_is_told_so(ward: Ward, scope: str) -> None:
    opens(ward)
    client = signed_in(ward, "recall")
    answer = sends(client, "/notices/N-0001/scope", scope=scope, read_version=0)
    assert answer.status_code == 422
    assert "Nothing was changed." in answer.text


def test_the_answer_never_says_none_alone_while_anything_cannot_be_excluded(ward: Ward) -> None:
    circuit = ward.begin()
    ward.scan(circuit, code(TAP, "T99"))
    ward.say(circuit, "lot-not-readable", "tap-middle")
    notice = opens(ward)
    scopes(ward, notice, "T77-0B1")
    page = signed_in(ward, "auditor").get("/notices/N-0001").text
    if newest(ward, notice).count("circuit", "cannot_be_excluded"):
        assert "No circuit confirmed, 1 cannot be excluded" in page
    assert "Looked at 1 circuit" in page
    assert f"As known at entry {newest(ward, notice).cut_no}" in page


def test_the_reply_says_lot_by_lot_what_became_of_it_on_paper_and_as_a_table(ward: Ward) -> None:
    shelves = Shelves(ward)
    shelves.receive(code(TAP, "T77-0B1"), packs=20)
    ward.prime("T77-0B1")
    shelves.out(TAP, "T77-0B1", 2, "trolley 1")
    shelves.out(TAP, "T77-0B1", 4, "trolley 1", "returned")
    shelves.count(TAP, ("T77-0B1", "trolley 1", 10))  # the book had 11
    notice = opens(ward, letter=replace(LETTER, reference="-OD+1"))
    scopes(ward, notice, "T77-0B1", "T-NEVER")
    client = signed_in(ward, "recall")
    asked = newest(ward, notice).number
    assert sends(client, "/notices/N-0001/replies", asked_no=asked).status_code == 302
    page = client.get("/notices/N-0001").text
    link = next(each for each in page.split('"') if each.endswith(".csv") and "replies" in each)
    lines = {line["lot"]: line for line in table(client.get(link))}
    numbers = ("received", "used", "discarded", "returned", "left", "on_hold", "not_found")
    assert [lines["T77-0B1"][each] for each in numbers] == ["20", "3", "2", "4", "10", "0", "1"]
    assert (lines["T-NEVER"]["received"], lines["T-NEVER"]["known_here"]) == ("0", "no")
    assert lines["T77-0B1"]["references"] == "'-OD+1", "a spreadsheet must not run it"
    assert lines["T77-0B1"]["complete"] == "1"
    paper = text_of(client.get(link.replace(".csv", ".pdf")).data)
    for words in (
        "Reply to notice N-0001",
        "T77-0B1",
        "T-NEVER",
        "Never recorded here: lot T-NEVER",
        "As known",
    ):
        assert words in paper
    ward.prime("T77-0B1")  # what was replied stays as it was
    assert {line["used"] for line in table(client.get(link))} == {"3", "0"}
    assert sends(signed_in(ward, "pharmacist"), "/notices/N-0001/replies").status_code == 403


def test_the_list_for_letters_names_patients_only_to_who_may_see_them(ward: Ward) -> None:
    circuit = ward.prime("T77-0B1")
    ward.take(circuit)
    ward.flow_on(circuit)
    notice = opens(ward)
    scopes(ward, notice, "T77-0B1")
    run = key_of(next(t.key for t in tasks_of(ward, notice).values() if t.kind == "inform"))
    assert run.ids[0] is not None
    ward.at("bedside").patient(run.ids[0], "=P-4711")
    asks(ward, notice, "T77-0B1")
    inform = next(t for t in tasks_of(ward, notice).values() if t.kind == "inform" and t.in_answer)
    says(ward, "bedside", notice, inform.id, ending="told-family")
    (line,) = table(signed_in(ward, "recall").get("/notices/N-0001/letters.csv"))
    assert (line["patient"], line["runs"], line["told"]) == ("'=P-4711", "R-0001", "Family told")
    for name in ("pharmacist", "auditor", "stock"):
        answer = signed_in(ward, name).get("/notices/N-0001/letters.csv")
        assert [each["patient"] for each in table(answer)] == [""]
        for page in ("", "/answer", "/tasks", "/stock", "/changes"):
            assert "P-4711" not in signed_in(ward, name).get(f"/notices/N-0001{page}").text


def test_the_pick_list_goes_place_by_place_on_paper(ward: Ward) -> None:
    shelves = Shelves(ward)
    shelves.receive(code(TAP, "T77-0B1"), packs=5)
    ward.now += timedelta(minutes=5)
    shelves.receive(code(TAP, "T77-0B1"), packs=7, place="bed 4")
    notice = opens(ward)
    scopes(ward, notice, "T77-0B1")
    paper = text_of(signed_in(ward, "stock").get("/notices/N-0001/pick.pdf").data)
    assert paper.index("bed 4") < paper.index("trolley 1")
    assert "T77-0B1" in paper
    page = signed_in(ward, "pharmacist").get("/notices/N-0001/stock").text
    assert "Leaves 0 of 2 ready" in page
    assert "Hold all of it" in page
    assert "Hold all of it" not in signed_in(ward, "primer").get("/notices/N-0001/stock").text


def test_the_worker_asks_open_notices_when_entries_came_in_and_then_rests(ward: Ward) -> None:
    notice = opens(ward)
    scopes(ward, notice, "T77-0B1")
    gives(ward, notice)
    beats: list[int] = []
    work = NoticesAsked(ward.services, lambda: beats.append(1))
    work.ask()
    assert work.found == {}, "nothing changed"
    number = ward.number(ward.prime("T77-0B1"))
    work.ask()
    assert list(work.found) == [notice]
    work.ask()
    work.ask()
    with ward.reads() as reads:
        askings = reads.scalars(select(NoticeAnswer)).all()
        head = reads.scalars(select(LedgerEvent).order_by(LedgerEvent.number.desc())).first()
    assert len(askings) == 2, "its own entry asks once more, and finds nothing"
    assert head is not None
    assert (head.kind, head.actor_id) == ("notice-asked", None)
    rounds = len(beats)
    work.ask()
    assert len(beats) == rounds, "nothing is asked where nothing came in"
    page = signed_in(ward, "recall").get("/notices/N-0001").text
    assert "The answer changed since it was last given: 1 row." in page
    assert number in page


def test_exceptions_of_a_period_stand_on_one_page_and_in_a_table(ward: Ward) -> None:
    circuit = ward.begin()
    ward.fill(circuit)
    ward.end(circuit)
    ward.sign(circuit, "primer")  # one signature
    number = ward.number(circuit)
    ward.now += timedelta(minutes=1)
    taken_at, ward.now = ward.now, ward.now + timedelta(hours=30)  # entered late, by nobody
    ward.take(circuit, at=taken_at)
    ward.machine()
    auditor = signed_in(ward, "auditor")
    page = auditor.get("/exceptions?from=2031-05-06&to=2031-05-08")
    assert page.status_code == 200
    for words in (
        "Went on past a caution or a stop",
        "Primes without two signatures",
        "Acts that nobody has put a name to",
        "Entered more than 24 h late",
        number,
    ):
        assert words in page.text
    lines = table(auditor.get("/exceptions.csv?from=2031-05-06&to=2031-05-08"))
    kinds = {line["kind"] for line in lines}
    assert {"Primes without two signatures", "Entered more than 24 h late"} <= kinds
    assert "Tags printed again" not in kinds
    assert table(auditor.get("/exceptions.csv?from=2030-01-01&to=2030-01-02")) == []
    assert auditor.get("/exceptions?from=2031-05-06&to=2031-05-01").status_code == 422
    assert auditor.get("/exceptions?from=yesterday").status_code == 422
    assert signed_in(ward, "recall").get("/exceptions").status_code == 403


def test_work_days_are_set_by_who_works_on_notices(ward: Ward) -> None:
    client = signed_in(ward, "pharmacist")
    fields = {"off-5": "1", "off-6": "1", "read_version": 0}
    bad = sends(client, "/work-days", **fields, holidays="2031-12-25\n24.12.2031")
    assert bad.status_code == 422
    assert (
        sends(client, "/work-days", **fields, holidays="2031-12-25\n2031-12-26").status_code == 302
    )
    page = client.get("/work-days").text
    assert "2031-12-25" in page
    assert "Version 1" in page
    assert sends(signed_in(ward, "primer"), "/work-days", **fields).status_code == 403


def test_closing_offers_its_way_on_and_a_task_is_added_by_hand(ward: Ward) -> None:
    number = ward.number(ward.prime("T77-0B1"))
    notice = opens(ward)
    scopes(ward, notice, "T77-0B1")
    client = signed_in(ward, "recall")
    row = tasks_of(ward, notice)[(number, "hold")].key
    path = "/notices/N-0001/tasks/add"
    assert sends(client, path, row=row, kind="inspect").status_code == 302
    assert sends(client, path, row=row, kind="inspect").status_code == 422, "it is there already"
    assert sends(client, path, row="circuit nobody", kind="inspect").status_code == 404
    assert (number, "inspect") in tasks_of(ward, notice)
    said = {"end": "worked-off", "words": "Done elsewhere"}
    refused = sends(client, "/notices/N-0001/close", **said)
    assert refused.status_code == 422
    assert "2 tasks not done, and no answer given yet" in refused.text
    assert "Close it all the same" in refused.text
    again = sends(client, "/notices/N-0001/close", **said, way_on="close-anyway")
    assert again.status_code == 302
    page = client.get("/notices/N-0001").text
    assert "Closed: Worked off." in page
    assert "Tasks were left undone" in page
