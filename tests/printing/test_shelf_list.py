"""The shelf on A4 and as a page that stands still: all of it, in order, and that it is old."""

from dataclasses import replace
from html.parser import HTMLParser

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.printing.paper import pages, sizes_mm, text, words
from traceability.domain.shelf_list import ShelfLine, ShelfSection, ShelfSheet
from traceability.printing.shelf_list import render_shelf_list
from traceability.printing.still_page import render_still_page

LINE = ShelfLine(
    bead="whole",
    place="Console 3",
    number="C-0413",
    state="Ready",
    use_by="2026-12-22 13:00 CET",
    details=("Adult 3/8, wet, closed", "Last looked at 2026-11-25 07:31 CET: all right"),
)
MISSING = ShelfLine(
    bead="open", place="Box 3, boxed", number="", state="Missing", use_by="", details=()
)
SHEET = ShelfSheet(
    unit="ICU 2, Norrvik Sound Hospital",
    headline="1 of 2 ready",
    as_known="2026-11-25 07:35 CET",
    still="As known on 2026-11-25 07:35 CET. It does not update itself.",
    ring="5512",
    practice=False,
    sections=(ShelfSection(name="Places for a ready circuit", lines=(LINE, MISSING)),),
    caution="Inspect before use. The record is not the inspection.",
)


def squeezed(said: str) -> str:
    return " ".join(said.split())


def test_the_list_says_all_and_that_it_stands_still() -> None:
    pdf = render_shelf_list(SHEET)
    said = squeezed(text(pdf))
    for each in (SHEET.headline, SHEET.still, "5512", LINE.number, "Missing", SHEET.caution):
        assert each in said
    assert "As known on 2026-11-25 07:35 CET · page 1 of 1" in said
    ((wide, tall),) = sizes_mm(pdf)
    assert wide == pytest.approx(210, abs=0.2)
    assert tall == pytest.approx(297, abs=0.2)
    # Neither day nor time is broken over two lines.
    assert {"2026-12-22", "13:00"} <= {word.text for word in words(pdf)}


def test_the_same_shelf_gives_the_same_bytes() -> None:
    assert render_shelf_list(SHEET) == render_shelf_list(SHEET)


def test_a_long_shelf_goes_on_and_each_page_says_when_it_was_so() -> None:
    lines = tuple(replace(LINE, number=f"C-{n:04}") for n in range(60))
    sheet = replace(SHEET, sections=(ShelfSection(name="Many", lines=lines),))
    pdf = render_shelf_list(sheet)
    said = squeezed(text(pdf))
    count = len(pages(pdf, 40))
    assert count > 3
    for n in range(1, count + 1):
        assert f"page {n} of {count}" in said
    assert [each for each in lines if each.number not in said] == []


def test_practice_says_so_first() -> None:
    sheet = replace(SHEET, practice=True)
    assert "Practice: nothing here is real" in squeezed(text(render_shelf_list(sheet)))
    assert "Practice: nothing here is real" in read(render_still_page(sheet)).said


@pytest.mark.parametrize("bead", ["whole", "open", "wait", "shut", "known"])
def test_every_mark_is_ink_on_the_paper(bead: str) -> None:
    line = replace(LINE, bead=bead)
    sheet = replace(SHEET, sections=(ShelfSection(name="One", lines=(line,)),))
    (page,) = pages(render_shelf_list(sheet), 150)
    left = page[:, : round(27.5 / 25.4 * 150)]  # the beads' column: 20 mm margin and 7.5 mm
    assert (left[400:1400] < 128).sum() > 60


names = st.text("WMåłŁ₂<&>\"'Øg中🫀 ", max_size=90) | st.text(max_size=60)


@given(names, names)
def test_whatever_a_place_is_called_both_can_be_made(place: str, state: str) -> None:
    line = replace(LINE, place=place, state=state or "x")
    sheet = replace(SHEET, sections=(ShelfSection(name="One", lines=(line,)),))
    assert render_shelf_list(sheet).startswith(b"%PDF")
    page = read(render_still_page(sheet))
    assert set(page.tags) <= SAFE
    assert squeezed(state) in squeezed(page.said)


SAFE = {
    "html",
    "head",
    "meta",
    "title",
    "style",
    "body",
    "main",
    "h1",
    "h2",
    "p",
    "b",
    "ul",
    "li",
} | {
    "svg",
    "div",
    "circle",
    "path",
}


class Read(HTMLParser):
    """What a page holds: its tags, its texts, and what it would fetch."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.said = ""
        self.fetched: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.fetched += [value or "" for name, value in attrs if name in {"src", "href"}]

    def handle_data(self, data: str) -> None:
        self.said += data


def read(page: str) -> Read:
    found = Read()
    found.feed(page)
    return found


def test_the_still_page_stands_alone_and_says_that_it_is_old() -> None:
    page = read(render_still_page(SHEET))
    assert page.fetched == []
    assert "script" not in page.tags
    said = squeezed(page.said)
    assert said.count("It does not update itself.") == 1
    for each in (SHEET.headline, LINE.number, LINE.use_by, MISSING.place, "5512", SHEET.caution):
        assert each in said
