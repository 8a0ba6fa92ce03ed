"""Papers for down-time, hand-over and retrieval, read back from the raster."""

from typing import Any

import pytest

from tests.printing.paper import pages, sizes_mm, symbols, text, words
from traceability.domain.papers import CircuitPaper, DownTimePaper, PaperPart
from traceability.domain.tags import SymbolKind, circuit_symbol, write_symbol
from traceability.printing.circuit_paper import render_circuit_paper
from traceability.printing.down_time import TAG, TAG_AT, render_down_time
from traceability.printing.proof import DoesNotReadBack, proved_pdf

LONG = "Norrvik Sound Hospital for the Whole Northern Coast and the Islands Before It"


def down_time(number: str = "C-0420", **changes: Any) -> DownTimePaper:
    facts: dict[str, Any] = {
        "unit": "ICU 2",
        "site": "Norrvik Sound Hospital",
        "ring": "5512",
        "number": number,
        "sheet_symbol": write_symbol(SymbolKind.FORM, f"7QXM.{number}"),
        "tag_symbol": circuit_symbol("7QXM", number),
        "circuit_type": "Adult 3/8",
        "places": ("Circuit pack", "Tap before the oxygenator", "Sodium chloride 0.9 %, 1 of 2"),
        "ticks": ("Cable ties × 6",),
        "practice": False,
    }
    return DownTimePaper(**(facts | changes))


@pytest.mark.parametrize("dpi", [203, 300])
def test_sheet_and_tag_of_one_number_stand_on_one_page_and_are_read_back(dpi: int) -> None:
    papers = [down_time("C-0420"), down_time("C-10421")]
    pdf = render_down_time(papers)
    assert sizes_mm(pdf) == [pytest.approx((210, 297), abs=0.3)] * 2
    for paper, page in zip(papers, pages(pdf, dpi), strict=True):
        assert symbols(page) == [paper.sheet_symbol, paper.tag_symbol]
    said = text(pdf)
    for word in ("C-0420", "C-10421", "Tap before the oxygenator", "Cable ties × 6", "ring 5512"):
        assert word in said
    assert "PRACTICE" not in said
    assert render_down_time(papers) == pdf


def test_a_practice_sheet_and_its_tag_both_say_so() -> None:
    marks = words(render_down_time([down_time(practice=True)]))
    told = [each.box for each in marks if each.text.startswith("PRACTICE")]
    on_tag = [box for box in told if box.y > TAG_AT[1]]
    assert (len(told), len(on_tag)) == (2, 1)


@pytest.mark.parametrize(
    "changes",
    [
        {"practice": True},
        {"number": "C-123456", "practice": True},
        {"circuit_type": "", "places": (), "ticks": ()},
        {"site": LONG, "circuit_type": "Adult three eighths, coated, long lines"},
    ],
)
def test_no_word_lies_over_another_or_over_the_symbol(changes: dict[str, Any]) -> None:
    pdf = render_down_time([down_time(**changes)])
    boxes = [each for each in words(pdf) if each.page == 1]
    for one in boxes:
        for other in boxes:
            if one is not other:
                shared_wide = min(one.box.x + one.box.width, other.box.x + other.box.width) - max(
                    one.box.x, other.box.x
                )
                shared_tall = min(one.box.y + one.box.height, other.box.y + other.box.height) - max(
                    one.box.y, other.box.y
                )
                # Lines of a text are set closer than the whole height of its letters.
                assert shared_wide <= 0.1 or shared_tall <= one.box.height / 3, (one, other)
    on_tag = [each.box for each in boxes if each.box.y > TAG_AT[1] + 2 and each.box.x < 112]
    right = TAG_AT[0] + TAG[0]
    assert all(box.x + box.width <= right for box in on_tag)
    # The symbol's own square, with one module left free around it (ISO/IEC 16022, from memory).
    inside = [
        box
        for box in on_tag
        if box.x + box.width > TAG_AT[0] + 67 and TAG_AT[1] + 4 < box.y < TAG_AT[1] + 31
    ]
    assert inside == []


def test_a_type_with_many_places_goes_on_on_another_page_with_the_same_number() -> None:
    many = tuple(f"Place {number}" for number in range(1, 41))
    pdf = render_down_time([down_time(places=many)])
    first, second = pages(pdf, 203)
    assert symbols(first)[0] == symbols(second)[0]
    assert len(symbols(second)) == 1, "the tag is cut off one page only"
    assert all(place in text(pdf) for place in many)


def circuit(**changes: Any) -> CircuitPaper:
    facts: dict[str, Any] = {
        "title": "Hand-over of a circuit",
        "unit": "Norrvik Sound Hospital, ICU 2",
        "ring": "5512",
        "number": "C-0419",
        "symbol": circuit_symbol("7QXM", "C-0419"),
        "practice": False,
        "head": "Use-by is 9 h after your return.",
        "facts": (("Circuit type", "Adult 3/8"), ("Use by", "2026-12-25 04:10 CET")),
        "contents": "Contents: 2 parts, every place of the circuit.",
        "parts": (
            PaperPart(
                place="Tap by the pump",
                item="Three-way tap (Oskerby Devices)",
                lot="T77-0B1",
                serial="",
                gap="",
                expires="2027-03",
                known="scanned",
            ),
            PaperPart(
                place="Oxygenator",
                item="Oxygenator (Mellowick Perfusion)",
                lot="",
                serial="",
                gap="lot not readable",
                expires="",
                known="said by hand",
            ),
        ),
        "blanks": ("Flow on, date and time", "Zone", "Connected by"),
        "caution": "Inspect before use.",
        "foot": "As known on 2026-11-25 04:10 CET.",
    }
    return CircuitPaper(**(facts | changes))


def test_the_paper_of_a_circuit_says_everything_and_its_symbol_is_read_back() -> None:
    paper = circuit()
    pdf = render_circuit_paper(paper)
    assert sizes_mm(pdf) == [pytest.approx((210, 297), abs=0.1)]
    assert symbols(pages(pdf, 300)[0]) == [paper.symbol]
    said = text(pdf)
    for word in (
        "C-0419",
        "Use-by is 9 h after your return.",
        "ring 5512",
        "T77-0B1",
        "lot not readable",
        "Flow on, date and time",
        "Inspect before use.",
        "page 1 of 1",
    ):
        assert word in said
    assert "PRACTICE" not in said
    assert "PRACTICE: nothing on this paper is real" in text(
        render_circuit_paper(circuit(practice=True))
    )
    assert render_circuit_paper(paper) == pdf


def test_a_long_list_goes_on_on_further_pages_each_with_number_and_symbol() -> None:
    part = circuit().parts[0]
    pdf = render_circuit_paper(circuit(parts=(part,) * 90, unit=LONG * 3))
    drawn = pages(pdf, 300)
    assert len(drawn) > 1
    assert {tuple(symbols(page)) for page in drawn} == {(circuit().symbol,)}
    assert text(pdf).count("T77-0B1") == 90


def test_a_paper_whose_symbol_reads_as_something_else_is_not_offered() -> None:
    paper = circuit()
    pdf = render_circuit_paper(paper)
    assert proved_pdf(pdf, paper.symbol, "paper") == pdf
    with pytest.raises(DoesNotReadBack):
        proved_pdf(pdf, circuit_symbol("7QXM", "C-9999"), "paper")
