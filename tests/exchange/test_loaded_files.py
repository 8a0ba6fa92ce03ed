"""Files as they come: encodings, eaten spreadsheets, JSON, EPCIS, and what is refused."""

import io
import json
import re
import zipfile
from datetime import date
from importlib.resources import files
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from jsonschema import Draft202012Validator
from openpyxl import Workbook

from tests.exchange.scopes import (
    OTHER,
    TAP,
    at,
    doubts,
    drafted,
    groups,
    loaded,
    pasted,
    says,
    taken,
    ways,
)
from traceability.domain.notice_scope import (
    DATED,
    RANGES,
    BadScope,
    ProductRef,
    Said,
    Scope,
    ScopeClause,
    ScopeTest,
    read_scope,
    scope_json,
)
from traceability.domain.scope_draft import Choice, Fate, NotRead
from traceability.exchange.epcis import epcis_uri

LIST = "Lot;Qty\nTA-0701;1\nTÄ-0702;2\n"


@pytest.mark.parametrize(
    ("codec", "mark", "name", "sure"),
    [
        ("utf-8", b"", "UTF-8", True),
        ("utf-8-sig", b"", "UTF-8", True),
        ("utf-16", b"", "UTF-16", True),
        ("utf-16-be", b"\xfe\xff", "UTF-16", True),
        ("utf-16-le", b"", "UTF-16 without its mark", False),
        ("cp1252", b"", "Windows-1252", False),
    ],
)
def test_any_usual_encoding_is_read_and_named(
    codec: str, mark: bytes, name: str, sure: bool
) -> None:
    read = loaded(mark + LIST.encode(codec))
    facts = read.notes[0].facts
    assert (facts["encoding"], facts["sure"], facts["replaced"]) == (name, sure, 0)
    assert ways(at(read, "file line 2, column 1")) == ["TA-0701"]
    assert ways(at(read, "file line 3, column 1"))[0] == "TÄ-0702"
    assert doubts(at(read, "file line 3, column 1")) == {"characters"}


def test_what_no_encoding_has_is_counted_and_waits() -> None:
    read = loaded(b"Lot\nTA-1\nT\x81-2\n")
    assert read.notes[0].facts["replaced"] == 1
    assert ways(at(read, "file line 3")) == ["T\ufffd-2"]
    assert doubts(at(read, "file line 3")) == {"characters"}


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"%PDF-1.7 ...", "refused-pdf"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" * 9, "refused-old-spreadsheet"),
        (b"\x89PNG\r\n\x1a\n", "refused-picture"),
        (b"<?xml version='1.0'?><!DOCTYPE x><lots/>", "refused-markup"),
        (b"PK\x03\x04 nothing", "refused-broken"),
        (bytes(range(32)) * 20, "refused-no-text"),
        (b'{"any_of": [', "refused-json"),
        (b'{"any_of": 1, "any_of": 2}', "refused-json"),
        (b"[" * 200_000, "refused-json"),
        (b'{"any_of": ' + b"9" * 9000 + b"}", "refused-json"),
    ],
)
def test_what_cannot_be_read_is_refused_by_its_kind(data: bytes, code: str) -> None:
    read = loaded(data)
    assert read.notes[-1].code == code
    assert read.entries == ()


@given(
    st.binary(max_size=600), st.sampled_from([b"", b"PK\x03\x04", b"{", b"\xff\xfe", b"Lot,Qty\n"])
)
def test_no_bytes_break_it(data: bytes, start: bytes) -> None:
    read = loaded(start + data)
    assert sum(drafted(read).counts.values()) == len(read.entries)


def test_ways_in_which_programs_save_a_text_are_understood() -> None:
    read = loaded(f'sep=;\nGTIN;Lot\n{TAP};="0417"\n{TAP};"TA2;1"\n'.encode())
    assert ways(at(read, "file line 3, column 2")) == ["0417"]
    assert doubts(at(read, "file line 3, column 2")) == {"formula"}
    assert taken(drafted(read)) == ["TA2", "1"], "a semicolon stands between two lots"


# ---- spreadsheets --------------------------------------------------------------------------------


def saved(book: Workbook) -> bytes:
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def sheet_of(*values: object) -> tuple[Workbook, Any]:
    book = Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.title = "Lots"
    sheet.append(["GTIN", "Lot"])
    for value in values:
        sheet.append([TAP, value])
    return book, sheet


def changed(data: bytes, change: Any) -> bytes:
    """Return the file with the XML of its first sheet changed."""
    out = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(data)) as old,
        zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for part in old.infolist():
            body = old.read(part)
            new.writestr(
                part.filename, change(body) if part.filename.endswith("sheet1.xml") else body
            )
    return out.getvalue()


@pytest.mark.parametrize(
    ("value", "shown_as", "why", "ways_on"),
    [
        (417, "00000", {"number"}, ["417", "00417"]),
        (417, '"TA-"0000', {"number"}, ["417", "TA-0417"]),
        (417, "General", {"number"}, ["417"]),
        (417, "000-000", {"number"}, ["417", "000-417"]),
        (417, "0.00", {"number"}, ["417"]),
        (417, "#,##0", {"number"}, ["417"]),
        (10000000000, "0.00E+00", {"number", "scientific"}, ["10000000000", "1E10"]),
        (120000, "General", {"number", "scientific"}, ["120000", "12E4", "12E04"]),
        (95213210100141234567, "General", {"number", "precision"}, None),
        (
            date(2026, 1, 12),
            "d-mmm",
            {"date"},
            ["2026-01-12", "12JAN", "JAN12", "JAN-12", "12-1"],
        ),
        (
            date(2012, 1, 1),
            "mmm-yy",
            {"date"},
            ["2012-01-01", "JAN12", "JAN-12", "1-12", "1JAN"],
        ),
        (True, "General", {"truth", "no-digit"}, ["TRUE"]),
        (12.5, "General", {"number"}, ["12.5"]),
        ("1E+10", "@", {"scientific"}, ["1E+10", "1E10", "10000000000"]),
        ("TA\u00a01", "@", {"characters"}, ["TA\u00a01", "TA1"]),
        ("0417", "@", set(), ["0417"]),
    ],
)
def test_each_cell_that_may_have_been_eaten_is_told(
    value: object, shown_as: str, why: set[str], ways_on: list[str] | None
) -> None:
    book, sheet = sheet_of(value)
    sheet["B2"].number_format = shown_as
    entry = at(loaded(saved(book)), "Lots!B2")
    assert doubts(entry) >= why - {"no-digit"}
    assert bool(doubts(entry)) == bool(why)
    if ways_on is not None:
        assert ways(entry) == ways_on
    assert (Fate.TAKEN if not why else Fate.WAITS) is drafted(loaded(saved(book))).rows[1].fate


def test_formulas_and_broken_cells_are_told() -> None:
    book, _ = sheet_of("=A2", "#N/A", "TA-3")
    read = loaded(saved(book))
    assert at(read, "Lots!B2").why is NotRead.NO_VALUE
    assert at(read, "Lots!B3").why is NotRead.BROKEN_CELL
    with_value = changed(
        saved(book), lambda xml: re.sub(rb"</f><v ?/>|</f><v></v>", b"</f><v>417</v>", xml)
    )
    entry = at(loaded(with_value), "Lots!B2")
    assert ways(entry) == ["417"]
    assert doubts(entry) >= {"formula", "number"}


def test_what_a_file_hides_waits() -> None:
    book, sheet = sheet_of("TA-1", "TA-2", "TA-3")
    sheet.row_dimensions[3].hidden = True
    hidden = book.create_sheet("Old")
    hidden.append(["Lot"])
    hidden.append(["TA-9"])
    hidden.sheet_state = "hidden"
    read = loaded(saved(book))
    assert [row.fate for row in drafted(read).rows if not row.entry.heading] == [
        Fate.TAKEN,
        Fate.WAITS,
        Fate.TAKEN,
        Fate.WAITS,
    ]
    assert "hidden" in doubts(at(read, "Lots!B3"))
    assert [note.code for note in read.notes] == ["sheet-hidden"]
    sheet.column_dimensions["B"].hidden = True
    assert all("hidden" in doubts(at(loaded(saved(book)), f"Lots!B{row}")) for row in (2, 3, 4))


def test_a_merged_cell_stands_in_each_of_its_rows_and_waits() -> None:
    book, sheet = sheet_of("TA-1", "TA-2", "TA-3")
    sheet["A2"] = OTHER
    sheet.merge_cells("A2:A3")
    read = loaded(saved(book))
    assert doubts(at(read, "Lots!B2")) == set()
    below = at(read, "Lots!B3")
    assert doubts(below) == {"merged"}
    assert below.meanings[0].product == at(read, "Lots!B2").meanings[0].product
    assert doubts(at(read, "Lots!B4")) == set()


def test_a_sheet_that_says_nothing_of_its_columns_is_told_and_can_be_set() -> None:
    book, _ = sheet_of("TA-1")
    book.create_sheet("Annex").append(["A-77", "x"])
    read = loaded(saved(book))
    assert at(read, "Annex!A1").why is NotRead.NOT_A_LIST
    told = loaded(saved(book), columns={"Annex": ["lot", ""]})
    assert "A-77" in taken(drafted(told))


def test_numbers_of_a_gtin_column_are_proven_by_their_check_digit() -> None:
    book, sheet = sheet_of("TA-1", "TA-2")
    sheet["A2"] = int(TAP)
    sheet["A3"] = int(TAP) + 1
    read = loaded(saved(book))
    assert doubts(at(read, "Lots!B2")) == set()
    assert at(read, "Lots!B2").meanings[0].product == ProductRef(standard="gs1", identifier=TAP)
    assert "check-digit" in doubts(at(read, "Lots!B3"))


def test_an_inflated_file_is_refused_before_it_is_unpacked() -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("xl/workbook.xml", "<workbook/>")
        packed.writestr("xl/worksheets/sheet1.xml", b" " * (300 * 2**20))
    assert len(out.getvalue()) < 400_000
    assert loaded(out.getvalue()).notes[0].code == "refused-inflated"


@pytest.mark.parametrize(
    "change",
    [
        lambda xml: xml.replace(b"<sheetData>", b'<!DOCTYPE x [<!ENTITY a "b">]><sheetData>'),
        lambda xml: xml[: len(xml) // 2],
        lambda xml: re.sub(rb'r="3"', b'r="99999999"', xml),
        lambda xml: b"<worksheet>" + b"<a>" * 50_000,
    ],
)
def test_a_tampered_sheet_is_refused(change: Any) -> None:
    book, _ = sheet_of("TA-1", "TA-2")
    assert loaded(changed(saved(book), change)).notes[0].code == "refused-broken"


def test_a_merged_range_over_the_whole_sheet_costs_nothing() -> None:
    merged = b'</sheetData><mergeCells count="1"><mergeCell ref="C1:XFD1048576"/></mergeCells>'
    book, _ = sheet_of("TA-1")
    read = loaded(changed(saved(book), lambda xml: xml.replace(b"</sheetData>", merged)))
    assert taken(drafted(read)) == ["TA-1"]


def test_a_wrong_size_in_the_file_hides_no_row() -> None:
    book, _ = sheet_of("TA-1", "TA-2")
    smaller = changed(
        saved(book), lambda xml: re.sub(rb'<dimension ref="[^"]*"', b'<dimension ref="A1:B2"', xml)
    )
    assert taken(drafted(loaded(smaller))) == ["TA-1", "TA-2"]


# ---- our own form --------------------------------------------------------------------------------

SCHEMA = Draft202012Validator(
    json.loads(
        files("traceability.exchange")
        .joinpath("schemas/notice-scope.schema.json")
        .read_text("utf-8")
    )
)
TEXT = st.text(st.characters(codec="utf-8", exclude_characters="\x00"), min_size=1, max_size=20)
DAY = st.dates().map(str)
REF = st.one_of(
    st.builds(
        ProductRef, standard=st.sampled_from(["gs1", "hibc"]), identifier=TEXT, name=st.just("tap")
    ),
    st.builds(ProductRef, maker=TEXT, item_number=TEXT),
    st.builds(ProductRef, kind=TEXT),
)


@st.composite
def scope_tests(draw: st.DrawFn) -> ScopeTest:
    kind = draw(st.sampled_from(Said))
    if kind not in RANGES:
        texts = draw(st.lists(TEXT, min_size=1, max_size=4, unique=True))
        return ScopeTest(kind=kind, texts=tuple(texts))
    if kind in DATED:
        first, last = sorted(draw(st.tuples(DAY, DAY)))
        return ScopeTest(kind=kind, first=first, last=draw(st.sampled_from([last, None])))
    return ScopeTest(kind=kind, first=draw(st.none() | TEXT), last=draw(st.none() | TEXT))


CLAUSE = st.builds(
    ScopeClause,
    products=st.lists(REF, min_size=1, max_size=2).map(tuple),
    tests=st.lists(scope_tests(), max_size=3).map(tuple),
    excepted=st.lists(scope_tests(), max_size=2).map(tuple),
    containing=st.booleans(),
)
SCOPE = st.builds(Scope, clauses=st.lists(CLAUSE, min_size=1, max_size=3).map(tuple))


@given(SCOPE)
def test_what_is_written_is_of_the_published_form_and_reads_back(scope: Scope) -> None:
    body = json.loads(json.dumps(scope_json(scope)))
    assert list(SCHEMA.iter_errors(body)) == []
    assert read_scope(body) == scope
    assert sum(drafted(pasted(json.dumps(body))).counts.values()) == len(scope.clauses)


BAD_FORMS: list[Any] = [
    {},
    {"any_of": []},
    {"any_of": [{"products": []}]},
    {"any_of": [{"products": [{"name": "tap"}]}]},
    {"any_of": [{"products": [{"kind": "tap"}], "tests": [{"test": "lots", "texts": [417]}]}]},
    {"any_of": [{"products": [{"kind": "tap"}], "tests": [{"test": "lots", "texts": []}]}]},
    {"any_of": [{"products": [{"kind": "tap"}], "tests": [{"test": "colour", "texts": ["x"]}]}]},
    {"any_of": [{"products": [{"kind": "tap"}], "tests": [{"test": "made"}]}]},
    {"any_of": [{"products": [{"kind": "tap"}], "containing": "yes"}]},
    {"any_of": [{"products": [{"kind": "tap"}], "used_from": "2026-01-01"}]},
    {"any_of": [{"products": [{"kind": "t" * 500}]}]},
]


@pytest.mark.parametrize("body", BAD_FORMS)
def test_the_schema_refuses_what_the_reader_refuses(body: Any) -> None:
    assert list(SCHEMA.iter_errors(body))
    with pytest.raises(BadScope):
        read_scope(body)
    read = pasted(json.dumps(body))
    assert [each.why for each in read.entries] == [NotRead.FORM]
    assert read.entries[0].detail


def test_the_example_of_the_docs_is_of_the_form(request: pytest.FixtureRequest) -> None:
    page = (request.config.rootpath / "docs" / "notice-form.md").read_text("utf-8")
    body = json.loads(page.split("```json")[1].split("```")[0])
    assert list(SCHEMA.iter_errors(body)) == []
    assert drafted(pasted(json.dumps(body))).settled


def test_fields_that_are_not_known_and_codes_that_do_not_add_up_wait() -> None:
    body = {
        "any_of": [
            {"products": [{"standard": "gs1", "identifier": TAP[:-1] + "0"}], "colour": "red"}
        ]
    }
    read = pasted(json.dumps(body))
    assert doubts(read.entries[0]) == {"unknown-part", "check-digit"}
    assert "any_of[0].colour" in read.entries[0].doubts[0].detail
    short = {"any_of": [{"products": [{"standard": "gs1", "identifier": TAP[1:]}]}]}
    assert drafted(pasted(json.dumps(short))).scope.clauses[0].products[0].identifier == TAP


# ---- EPCIS ---------------------------------------------------------------------------------------


def document(*events: dict[str, Any], **more: Any) -> str:
    body = {"@context": [], "type": "EPCISDocument", "schemaVersion": "2.0"}
    return json.dumps(
        {**body, "epcisBody": {"eventList": [{"type": "ObjectEvent", **e} for e in events]}, **more}
    )


@pytest.mark.parametrize(
    ("uri", "gtin", "text"),
    [
        ("urn:epc:class:lgtin:950600.0013435.TA-0701", TAP, "TA-0701"),
        ("urn:epc:class:lgtin:950600.0013435.A%2F1", TAP, "A/1"),
        ("urn:epc:id:sgtin:950600.0013435.S1", TAP, "S1"),
        ("urn:epc:idpat:sgtin:950600.0013435.*", TAP, ""),
        (f"https://id.gs1.org/01/{TAP}/10/TA-0701", TAP, "TA-0701"),
        (f"https://example.org/some/path/01/{TAP}/21/S%2F1?17=270331", TAP, "S/1"),
        (f"https://example.org/01/{TAP[1:]}/22/2A/10/L/21/S1", TAP, "S1"),
        (f"https://example.org/gtin/{TAP}/lot/L1", TAP, "L1"),
        ("urn:epc:class:lgtin:95060.0013435.TA", "", ""),
        (f"https://example.org/01/{TAP[:-1]}1/10/L", "", ""),
        ("urn:epc:id:sscc:950600.00000000001", "", ""),
    ],
)
def test_identifiers_of_events_are_read_in_both_ways_of_writing(
    uri: str, gtin: str, text: str
) -> None:
    said = epcis_uri(uri)
    assert said.gtin == gtin
    if gtin:
        assert (said.serial or said.lot) == text


def test_recalled_events_are_taken_and_others_wait() -> None:
    lot = {
        "quantityList": [{"epcClass": "urn:epc:class:lgtin:950600.0013435.TA-0701", "quantity": 5}]
    }
    serial = {"epcList": [f"https://id.gs1.org/01/{TAP}/21/S1"]}
    whole = {"quantityList": [{"epcClass": f"https://id.gs1.org/01/{TAP}"}]}
    read = pasted(
        document(
            {"disposition": "recalled", **lot},
            {"persistentDisposition": {"set": ["https://ref.gs1.org/cbv/Disp-recalled"]}, **serial},
            {"disposition": "active", **lot},
            {"disposition": "recalled", "errorDeclaration": {"reason": "did_not_occur"}, **lot},
            {
                "disposition": "recalled",
                "ilmd": {"cbvmda:lotNumber": "TA-9"},
                "ex:depot": 1,
                **whole,
            },
            {"disposition": "recalled", **whole},
            {"disposition": "recalled"},
        )
    )
    assert [(says(e.meanings[0].test), sorted(doubts(e))) for e in read.entries if e.meanings] == [
        ("TA-0701", []),
        ("S1", []),
        ("TA-0701", ["not-recalled"]),
        ("TA-0701", ["taken-back"]),
        ("TA-9", []),
        ("all", ["every"]),
    ]
    assert read.entries[-1].why is NotRead.NOTHING_NAMED
    assert [note.facts.get("names") for note in read.notes] == [None, ["ex:depot"]]
    assert taken(drafted(read, of=None)) == ["TA-0701", "S1", "TA-9"]
    assert drafted(read, groups(drafted(read), Choice.LEAVE)).settled


JSONS = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(max_size=9),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.sampled_from(
                [
                    "epcList",
                    "quantityList",
                    "epcClass",
                    "ilmd",
                    "disposition",
                    "errorDeclaration",
                    "type",
                ]
            ),
            inner,
            max_size=4,
        )
    ),
    max_leaves=20,
)


@given(JSONS)
def test_no_event_breaks_it(event: Any) -> None:
    body = {"type": "EPCISDocument", "epcisBody": {"eventList": event}}
    read = pasted(json.dumps(body))
    places = [each.place for each in read.entries]
    assert len(places) == len(set(places))
