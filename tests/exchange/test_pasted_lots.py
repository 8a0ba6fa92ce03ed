"""Lists and tables of lots as people paste them: what is taken, what waits, what is not read."""

import json
import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.exchange.scopes import (
    MAKER,
    OTHER,
    TAP,
    at,
    doubts,
    drafted,
    groups,
    pasted,
    says,
    taken,
    ways,
)
from traceability.domain.notice_scope import Said, read_scope, scope_json
from traceability.domain.scope_draft import Answers, Choice, Fate, NotRead


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("TA-0701\nTA-0702", ["TA-0701", "TA-0702"]),
        ("TA-0701, TA-0702 and TA-0705", ["TA-0701", "TA-0702", "TA-0705"]),
        ("TA-0701; TA-0702 & TA-0705", ["TA-0701", "TA-0702", "TA-0705"]),
        ("Lot no. TA-0701", ["TA-0701"]),
        ("• TA-0701\n• TA-0702", ["TA-0701", "TA-0702"]),
        ("Lots: TA-0701, TA-0702", ["TA-0701", "TA-0702"]),
        ("TA-0701 to TA-0720", ["TA-0701..TA-0720"]),
        ("TA-0701–TA-0720", ["TA-0701..TA-0720"]),
        ("TA-0701 - TA-0720", ["TA-0701..TA-0720"]),
        ("between TA-0701 and TA-0720", ["TA-0701..TA-0720"]),
        ("from 0417 to 0430", ["0417..0430"]),
        ("TA-0701 up to TA-0720 inclusive", ["TA-0701..TA-0720"]),
        ("- TA-0701\n– TA-0702", ["TA-0701", "TA-0702"]),
        ("up to TA-0720", ["..TA-0720"]),
        ("TA-0720 and earlier", ["..TA-0720"]),
        ("TA-0720 onwards", ["TA-0720.."]),
        ("≥ TA-0720", ["TA-0720.."]),
        ("0417", ["0417"]),
        ("ta-0701\nTA-0701", ["ta-0701", "TA-0701"]),
        ("171231\nA17991399\n26-104", ["171231", "A17991399", "26-104"]),
    ],
)
def test_what_leaves_no_doubt_is_taken_to_the_letter(text: str, wanted: list[str]) -> None:
    draft = drafted(pasted(text))
    assert taken(draft) == wanted
    assert draft.settled


@pytest.mark.parametrize(
    ("text", "why", "ways_on"),
    [
        ("1E+10", "scientific", ["1E+10", "1E10", "10000000000"]),
        ("1.20E+05", "scientific", ["1.20E+05", "12E4", "12E04", "120000"]),
        ("12-Jan", "date", ["12-Jan", "12JAN", "JAN12", "JAN-12"]),
        ("Jan-26", "date", ["Jan-26", "JAN26", "JAN-26"]),
        ("2026-03-12", "date", ["2026-03-12", "12MAR", "MAR12", "MAR-12", "12-3"]),
        ("12/03/2026", "date", ["12/03/2026"]),
        ("417.0", "decimal", ["417.0", "417"]),
        ("TA\u00a00701", "characters", ["TA\u00a00701", "TA0701"]),
        ("TA–0701", "characters", ["TA–0701", "TA-0701"]),
        ("ТА-0701", "characters", ["ТА-0701"]),  # Cyrillic letters: nobody but a person can tell
        ("TA 0701", "blank", ["TA 0701", "TA0701"]),
        ("'0417", "marks", ["'0417", "0417"]),
        ('"TA-1"', "marks", ['"TA-1"', "TA-1"]),
        ("TA-1 (40 pieces)", "marks", ["TA-1 (40 pieces)", "TA-1"]),
        ("12. TA-1", "marks", ["12. TA-1", "TA-1"]),
        ("#417", "marks", ["#417", "417"]),
        ("TA@1", "characters", ["TA@1"]),
        ("TA-07*", "wildcard", ["TA-07*"]),
        ("TA-07xx", "wildcard", ["TA-07xx"]),
        ("４１７", "characters", ["４１７", "417"]),
        ("TA-0701 TA-0702", "blank", ["TA-0701 TA-0702", "TA-0701,TA-0702"]),
        ("TA-0701-TA-0720", "range-or-lot", ["TA-0701-TA-0720", "TA-0701..TA-0720"]),
        ("TA-0701-0720", "range-or-lot", ["TA-0701-0720", "TA-0701..TA-0720"]),
        ("TA-0701/TA-0702", "list-or-lot", ["TA-0701/TA-0702", "TA-0701,TA-0702"]),
        ("TA-0701 to 0720", "short-end", ["TA-0701..TA-0720"]),
        ("A1 to B9", "ends-unlike", ["A1..B9"]),
        ("1E5 to 1E9", "scientific", ["1E5..1E9"]),
        ("all lots", "every", ["all"]),
        (TAP, "product-code", [TAP]),
        ("123456789012345678901", "long", ["123456789012345678901"]),
        ("RECALL", "no-digit", ["RECALL"]),
    ],
)
def test_what_is_doubtful_waits_and_says_what_it_may_have_been(
    text: str, why: str, ways_on: list[str]
) -> None:
    (entry,) = pasted(text).entries
    assert why in doubts(entry)
    assert ways(entry) == ways_on
    draft = drafted(pasted(text))
    assert taken(draft) == []
    assert not draft.settled
    whole = drafted(pasted(text), groups(draft, Choice.BOTH))
    assert taken(whole) == ways_on
    assert drafted(pasted(text), groups(draft, Choice.LEAVE)).rows[0].fate is Fate.LEFT_OUT


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("n/a", NotRead.NOTHING),
        ("see the table on page two", NotRead.NOTHING),
        ("Please check your stock of this device at once", NotRead.WORDS),
        ("TA-0720 to TA-0701", NotRead.EMPTY_RANGE),
        ("#REF!", NotRead.BROKEN_CELL),
        ("x1" * 80, NotRead.LONG),
        ("+/EU720060FF0/SPATIENTQ", NotRead.PRIVATE),
    ],
)
def test_what_is_no_lot_is_told_with_its_place(text: str, why: NotRead) -> None:
    read = pasted(f"TA-1\n{text}")
    assert at(read, "line 2").why is why
    assert drafted(read).counts[Fate.NOT_READ] == 1


def test_a_person_decides_row_by_row_by_group_or_by_writing_it() -> None:
    read = pasted("1E5\n2E5\nTA 1\nTA 2\nTA-3")
    answers = Answers(
        rows={"line 1": Choice.OTHER, "line 3": Choice.LEAVE},
        groups={"blank.more": Choice.READ},
        written={"line 2": "2E05"},
    )
    draft = drafted(read, answers)
    assert taken(draft) == ["1E05", "100000", "2E05", "TA 2", "TA-3"]
    assert draft.settled


def test_shorter_than_its_neighbours_may_have_lost_a_zero() -> None:
    read = pasted("0417\n0418\n0419\n420\n0421")
    assert ways(at(read, "line 4")) == ["420", "0420"]
    assert doubts(at(read, "line 4")) == {"shorter"}
    assert drafted(pasted("417\n418\n1419")).settled, "nothing says that all are of one length"


def test_a_heading_alone_says_lots_or_serials() -> None:
    draft = drafted(pasted("Serial number\n0012\n0013 to 0040"))
    assert [clause.tests[0].kind for clause in draft.scope.clauses] == [
        Said.SERIALS,
        Said.SERIAL_RANGE,
    ]
    assert drafted(pasted("0012", serials=True)).scope.clauses[0].tests[0].kind is Said.SERIALS


HEADS = {
    "lot": [
        "Lot",
        "LOT No.",
        "Batch number",
        "Lot/Batch #",
        "BATCH",
        "Affected lots",
        "N° de lot",
        "Charge",
    ],
    "code": ["GTIN", "UDI-DI", "GTIN-14", "Primary DI", "Device Identifier (DI)"],
    "item": ["REF", "Item number", "Cat. no.", "Catalogue Number", "Product code", "Part no."],
    "expires": ["Exp", "Expiry date", "Use by", "Expiration Date", "Lot expiry"],
    "made": ["Mfg date", "Date of manufacture", "Made"],
    "quantity": ["Qty", "Units distributed"],
    "serial": ["S/N", "Serial No", "Seriennummer"],
    "maker": ["Manufacturer", "Legal manufacturer"],
    "lot-from": ["First lot", "Lot from", "Lot (start)"],
    "serial-to": ["Last serial", "Serial no. to"],
}


@pytest.mark.parametrize(("means", "heading"), [(m, h) for m, hs in HEADS.items() for h in hs])
def test_headings_are_read_in_many_spellings(means: str, heading: str) -> None:
    read = pasted(
        f"{heading}\tLot\tREF\nx1\tTA-1\tT\n"
        if means not in {"lot"}
        else f"{heading}\tREF\nTA-1\tT"
    )
    assert read.tables[0].columns[0] == means


@pytest.mark.parametrize("separator", ["\t", ";", ",", "   ", "|"])
def test_a_table_is_read_whatever_separates_its_columns(separator: str) -> None:
    rows = [["GTIN", "Lot", "Qty"], [TAP, "TA-0701", "4"], [OTHER, "TA-0702", "2"]]
    draft = drafted(pasted("\n".join(separator.join(row) for row in rows)), of=None)
    assert [clause.products[0].identifier for clause in draft.scope.clauses] == [TAP, OTHER]
    assert taken(draft) == ["TA-0701", "TA-0702"]
    assert draft.rows[1].entry.beside == "quantity 4"


def test_leading_zeros_of_a_gtin_mean_nothing_and_its_check_digit_proves_it() -> None:
    text = f"GTIN\tLot\n{TAP.lstrip('0')}\tA1\n{TAP[:-1]}9\tA2\n123\tA3"
    read = pasted(text)
    assert at(read, "line 2, column 2").meanings[0].product.identifier == TAP  # type: ignore[union-attr]
    assert doubts(at(read, "line 3, column 2")) == {"check-digit"}
    assert at(read, "line 4").why is NotRead.CODE


def test_an_item_number_needs_its_maker_and_a_blank_product_is_that_above() -> None:
    text = "REF\tLot\nT-1\tA1\n\tA2"
    assert at(pasted(text), "line 2").why is NotRead.NO_MAKER
    read = pasted(text, maker=MAKER)
    assert at(read, "line 2, column 2").meanings[0].product.item_number == "T-1"  # type: ignore[union-attr]
    assert doubts(at(read, "line 3, column 2")) == {"filled-down"}


def test_a_serial_is_one_unit_and_its_lot_stands_beside_it() -> None:
    draft = drafted(pasted("Lot\tSerial\nL1\tS1\nL2\t\n"))
    assert [clause.tests[0].kind for clause in draft.scope.clauses] == [Said.SERIALS, Said.LOTS]
    assert draft.rows[1].entry.beside == "lot L1"


def test_columns_without_a_heading_are_a_guess_until_a_person_sets_them() -> None:
    text = f"{TAP};TA-0701;2027-03\n{TAP};TA-0702;2027-04"
    read = pasted(text)
    assert read.tables[0].columns == ("code", "lot", "")
    assert all(doubts(each) == {"column"} for each in read.entries)
    told = pasted(text, columns={"line": ["code", "serial", "expires"]})
    assert drafted(told).settled
    assert drafted(told).scope.clauses[0].tests[0].kind is Said.SERIALS


def test_rows_of_only_products_ask_for_every_lot_and_wait() -> None:
    read = pasted(f"GTIN\tDescription\n{TAP}\tThree-way tap\n{OTHER}\tTwo-way tap")
    draft = drafted(read, of=None)
    assert draft.waiting == {"every.1": 2}
    asked = drafted(read, groups(draft, Choice.READ), of=None)
    assert [clause.tests for clause in asked.scope.clauses] == [(), ()]


def test_lots_without_a_product_are_not_read_and_say_so() -> None:
    draft = drafted(pasted("TA-1\nTA-2"), of=None)
    assert {row.entry.why for row in draft.rows} == {NotRead.NO_PRODUCT}
    assert not draft.settled


def test_doubles_name_the_first() -> None:
    draft = drafted(pasted("TA-1\nTA-2\nTA-1"))
    assert (draft.rows[2].fate, draft.rows[2].like) == (Fate.DOUBLE, "line 1")


def test_scans_in_a_list_are_read_as_symbols() -> None:
    read = pasted(f"(01){TAP}(17)270331(10)TA-0701\n]d201{TAP}21S-1\n(01){TAP}")
    assert [ways(each) for each in read.entries] == [["TA-0701"], ["S-1"], ["all"]]
    assert doubts(read.entries[2]) == {"every"}


def test_fifty_thousand_lots_are_read_in_two_seconds() -> None:
    text = "\n".join(f"TA-{n:06}" for n in range(50_000))
    began = time.perf_counter()
    draft = drafted(pasted(text))
    spent = time.perf_counter() - began
    assert draft.counts[Fate.TAKEN] == 50_000
    assert spent < 6, f"{spent:.1f} s; meant are 2 s on a quiet machine"


@given(st.lists(st.text(min_size=1, max_size=30), min_size=1, max_size=8))
def test_any_cell_is_kept_to_the_letter_or_called_doubtful_or_not_read(cells: list[str]) -> None:
    rows = "\n".join(["Lot\tQty", *(f"{cell}\t1" for cell in cells)])
    for entry in pasted(rows).entries:
        if entry.heading or entry.why or entry.doubts:
            continue
        test = entry.meanings[0].test
        assert test is not None
        for text in test.texts or tuple(end for end in test.ends if end):
            assert text in rows
            assert all("!" <= char <= "~" for char in text)


@given(st.text(max_size=400))
def test_no_text_breaks_it_and_each_place_is_one_row(text: str) -> None:
    read = pasted(text)
    places = [each.place for each in read.entries]
    assert len(places) == len(set(places))
    draft = drafted(read)
    if draft.scope.clauses:
        written = json.loads(json.dumps(scope_json(draft.scope)))
        assert read_scope(written) == draft.scope
    assert sum(draft.counts.values()) == len(read.entries)
    assert says(None) == "all"
