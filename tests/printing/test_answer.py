"""A recall answer on A4: nothing left out, nothing split, the same facts on every page."""

import re
from dataclasses import replace

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from tests.printing.paper import Word, dark_box, pages, sizes_mm, text, words
from traceability.domain.answers import AnswerRow, AnswerSection, AnswerSheet
from traceability.printing.answer import render_answer
from traceability.printing.label import Box

LOT = "T77-0B1"
ROW = AnswerRow(
    circuit="C-0413",
    run="R-0231",
    why=f"5 taps scanned, lot {LOT}; 1 swapped out 11-23, 4 still in.",
    on_patient="2026-11-21 02:47 CET to 2026-11-25 03:40 CET",
    where_now="On patient, bed 6",
    task="Clinician decides on change-out. To do",
)


def shelf(name: str, bead: str, *rows: AnswerRow, count: int | None = None) -> AnswerSection:
    return AnswerSection(
        name=name,
        explain=f"{name} in words.",
        bead=bead,
        count=len(rows) if count is None else count,
        rows=rows,
    )


def numbered(count: int) -> tuple[AnswerRow, ...]:
    return tuple(
        replace(ROW, circuit=f"C-{at:04}", why=f"first{at} " + "word " * (at % 40) + f"last{at}")
        for at in range(count)
    )


SHEET = AnswerSheet(
    unit="Norrvik Sound ICU 2",
    subject=f"Notice N-26-014: three-way tap TAP3, lot {LOT}",
    question=f"Which circuits held a three-way tap, item TAP3, lot {LOT}?",
    head="1 circuit held this lot. 1 cannot be excluded.",
    as_known="2026-11-25 03:40 CET, entry 10412",
    last_entry="Last entry 03:38 CET, trolley 2.",
    coverage=("24 circuits looked at.", "Taps: 20 full record, 3 partial, 1 none."),
    sections=(
        shelf("Confirmed", "whole", ROW),
        shelf("Inferred", "half"),
        shelf("Cannot be excluded", "open", replace(ROW, circuit="X-0029", run="", task="")),
        shelf("Excluded", "none", count=22),
    ),
    caution="This record supports the decision. It does not make it.",
    digest="9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08",
    lots=(LOT,),
)


def with_rows(*rows: AnswerRow) -> AnswerSheet:
    return replace(SHEET, sections=(shelf("Confirmed", "whole", *rows), *SHEET.sections[1:]))


def test_the_answer_is_all_there_in_order() -> None:
    said = text(render_answer(SHEET))
    order = [SHEET.head, "24 circuits looked at.", "1 Confirmed", "0 Inferred"]
    order += ["1 Cannot be excluded", "22 Excluded"]
    places = [said.index(each) for each in order]
    assert places == sorted(places)
    shown = {word.text for word in words(render_answer(SHEET))}
    for each in (ROW.why, ROW.on_patient, ROW.where_now, ROW.task):
        assert set(each.split()) <= shown
    assert "no run" in said


def test_the_page_is_a4() -> None:
    """210 x 297 mm: ISO 216."""
    assert {(round(wide), round(tall)) for wide, tall in sizes_mm(render_answer(SHEET))} == {
        (210, 297)
    }


def test_every_page_says_what_it_belongs_to() -> None:
    pdf = render_answer(with_rows(*numbered(80)))
    total = len(pages(pdf, 30))
    assert total > 2
    for number in range(1, total + 1):
        shown = " ".join(word.text for word in words(pdf) if word.page == number)
        assert SHEET.subject in shown
        assert f"As known on {SHEET.as_known} · page {number} of {total}" in shown
        assert SHEET.unit in shown
        assert SHEET.caution in shown
        assert SHEET.digest in shown


def test_rows_are_never_split_and_columns_keep_their_names() -> None:
    pdf = render_answer(with_rows(*numbered(80)))
    found = words(pdf)
    pages_of = {word.text: word.page for word in found if re.match(r"(first|last)\d+$", word.text)}
    assert len(pages_of) == 160
    for at in range(80):
        assert pages_of[f"first{at}"] == pages_of[f"last{at}"]
    on = {word.page for word in found if word.text.startswith("first")}
    named = {word.page for word in found if word.text == "Circuit"}
    assert on <= named


def test_a_row_higher_than_a_page_goes_on_with_nothing_lost() -> None:
    long = replace(ROW, why="\n".join(f"word{at}" for at in range(400)))
    shown = [word.text for word in words(render_answer(with_rows(ROW, long)))]
    assert {f"word{at}" for at in range(400)} <= set(shown)


def test_letters_of_a_lot_are_underlined_and_digits_are_not() -> None:
    pdf = render_answer(replace(SHEET, question=f"Lot {LOT}"))
    (page, *_) = pages(pdf, 300)
    lot = next(each for each in words(pdf) if each.text == LOT and each.box.y > 30)
    assert [_line_below(page, lot, at) for at in range(len(LOT))] == [
        letter.isalpha() for letter in LOT
    ]


def _line_below(page: np.ndarray[tuple[int, ...], np.dtype[np.uint8]], lot: Word, at: int) -> bool:
    """Tell whether a line of dots runs under a character: below the baseline, most of its width."""
    wide = lot.box.width / len(lot.text)
    foot = lot.box.y + lot.box.height
    below = Box(x=lot.box.x + (at + 0.25) * wide, y=foot - 0.85, width=wide * 0.5, height=0.6)
    return bool((dark_box(page, below, 300) < 128).all(axis=1).any())


def test_the_same_answer_gives_the_same_bytes() -> None:
    assert render_answer(SHEET) == render_answer(replace(SHEET))


def test_patients_are_named_only_when_given() -> None:
    assert "TEMP-7" not in text(render_answer(SHEET))
    assert "TEMP-7" in text(render_answer(with_rows(replace(ROW, patient="TEMP-7"))))


anything = st.text(st.characters(exclude_categories=["Cs"]), max_size=200)
marked = st.sampled_from(["<b>", "</para>", "&amp;", "&", "<br/>", "<img src='x'/>", "]]>", "%s"])
hostile = st.lists(anything | marked, max_size=4).map("".join)


@given(hostile, hostile, hostile)
def test_whatever_was_read_from_a_label_is_shown_as_it_is(why: str, lot: str, subject: str) -> None:
    sheet = with_rows(replace(ROW, why=f"{why} ends"))
    pdf = render_answer(
        replace(sheet, lots=(LOT, lot), question=f"Lot {lot} asked", subject=subject)
    )
    said = "".join(text(pdf).split())
    assert "ends" in said
    assert "asked" in said
    for mark in re.findall(r"<b>|</para>|&amp;|<br/>|]]>", why):
        assert mark in said
