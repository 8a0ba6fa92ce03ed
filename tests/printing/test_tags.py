"""The circuit tag, looked at as a printer and a scanner do: rasterised, measured, read back."""

import math
import re
import subprocess
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
import zxingcpp
from hypothesis import given
from hypothesis import strategies as st

from tests.printing.paper import (
    FACTS,
    PRIMED,
    Dots,
    dark_box,
    facts,
    outside_boxes,
    pages,
    render_tag,
    runs_of_dots,
    sizes_mm,
    symbols,
    text,
    words,
)
from tests.security.test_tag_keys import OURS as KEYS
from traceability.domain.tag_contents import ContentsItem, TagContents, read_contents
from traceability.domain.tags import TagFacts
from traceability.printing.label import Box, Rule
from traceability.printing.label_file import load_label
from traceability.printing.samples import CONTENTS
from traceability.printing.tags import print_tag
from traceability.printing.words import Face, as_text, plain, wrapped
from traceability.security.tag_keys import signed_by, tag_public, tag_signer

LABEL = load_label("circuit_tag")
SYMBOL = LABEL.symbols[0]
ENDLESS = (
    "Wilhelmina Przybyszewska-Ångström av Norrviks Sund och Östra Hamnplanen, "
    "Ældste Søster på Øvre Ångermanvägen"
)

some = st.text("WMåłŁ₂Øgj-. ", max_size=45)
names = (
    some
    | st.text(st.characters(exclude_categories=["Cs"]), max_size=60)
    | st.text("WMåłŁ₂-. ", min_size=20, max_size=600)
)


def inside_frame(page: Dots, dpi: int) -> Dots:
    """Return the dots within the symbol's frame."""
    line, box = SYMBOL.frame + 0.2, SYMBOL.box
    within = Box(
        x=box.x + line, y=box.y + line, width=box.width - 2 * line, height=box.height - 2 * line
    )
    return dark_box(page, within, dpi)


def squeezed(words_on_paper: str) -> str:
    """Return the text without any space: lines are broken anywhere."""
    return "".join(words_on_paper.split())


@pytest.mark.parametrize("dpi", [203, 300, 600])
def test_the_symbol_reads_back_exactly(dpi: int) -> None:
    (page,) = pages(render_tag(FACTS, dpi=dpi), dpi)
    assert symbols(page) == [FACTS.symbol]


@pytest.mark.parametrize("dpi", [203, 300, 600])
def test_modules_are_whole_dots_black_or_white_and_as_large_as_the_label_says(dpi: int) -> None:
    (page,) = pages(render_tag(FACTS, dpi=dpi), dpi)
    dots = inside_frame(page, dpi)
    assert set(np.unique(dots)) <= {0, 255}, "an edge between two dots would be grey"
    module = math.gcd(*runs_of_dots(dots))
    # X-dimension 0.396 to 1.5 mm for a Data Matrix scanned in healthcare that is not retail (GS1
    # General Specifications, symbol specification table 8, from memory; ours is the label's).
    assert SYMBOL.module <= module * 25.4 / dpi <= 1.5
    dark_rows = np.flatnonzero((dots < 128).any(axis=1))
    assert dark_rows[0] >= SYMBOL.quiet * module, "the quiet zone above the symbol"
    assert dots.shape[0] - 1 - dark_rows[-1] >= SYMBOL.quiet * module


def test_a_second_interpreter_draws_the_same_dots(tmp_path: Path) -> None:
    """Printers' drivers differ; Ghostscript (another code base) stands for them."""
    source, drawn = tmp_path / "tag.pdf", tmp_path / "tag.pgm"
    source.write_bytes(render_tag(FACTS))
    asked = ["gs", "-q", "-dBATCH", "-dNOPAUSE", "-sDEVICE=pgmraw", "-r203"]
    subprocess.run([*asked, f"-sOutputFile={drawn}", source], check=True)
    head, _, rest = drawn.read_bytes().partition(b"\n255\n")
    wide, tall = (int(each) for each in head.split()[-2:])
    other = np.frombuffer(rest, np.uint8).reshape(tall, wide)
    (ours,) = pages(source.read_bytes(), 203)
    assert other.shape == ours.shape
    assert np.array_equal(inside_frame(other, 203), inside_frame(ours, 203))


@pytest.mark.parametrize("dpi", [203, 300])
def test_the_page_is_as_large_as_the_label_to_a_tenth_of_a_millimetre(dpi: int) -> None:
    ((wide, tall),) = sizes_mm(render_tag(FACTS, dpi=dpi))
    assert wide == pytest.approx(LABEL.width, abs=0.1)
    assert tall == pytest.approx(LABEL.height, abs=0.1)
    (page,) = pages(render_tag(FACTS, dpi=dpi), dpi)
    assert page.shape == (round(62 / 25.4 * dpi), round(100 / 25.4 * dpi)), "no dot added"


def test_every_fact_is_printed() -> None:
    said = text(render_tag(FACTS))
    for fact in (
        "C-0419",
        "Adult 3/8 · console 3 · wet, closed",
        "Use by (storage policy, 30 days)",
        "2026-12-25 04:10 CET",  # exactly 30 d after 03:10 UTC, in the unit's zone, named
        "Prime: sodium chloride 0.9 %, 1.5 L",
        "No blood. No additives recorded.",
        "Primed 2026-11-25 04:10 CET: E. Lind, signed 04:14",
        "Assisted and checked: J. Ruiz, signed 04:16",
        "18 parts: 15 own lot or serial, 3 inside the pack",
        "Oxygenator lot 3F0117, serial 000452",
        "Norrvik Sound Hospital, ICU 2, ring 5512",
        "Scan when you take it",
        "Inspect before use. The record is not the inspection.",
    ):
        assert fact in said
    assert "PLAIN TAG" not in said
    assert "SIGN" not in said
    assert "Copy" not in said


def test_letters_beyond_latin_1_are_printed() -> None:
    said = text(render_tag(facts(primer="Å. Zieliński", place="CO₂ store", helper="Łoś")))
    assert "Å. Zieliński" in said
    assert "CO₂ store" in said
    assert "Łoś" in said


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"helper_signed_at": None}, "SECOND SIGNATURE MISSING"),
        ({"helper_signed_at": None}, "Assisted and checked: J. Ruiz, not signed"),
        ({"primer_signed_at": None}, "SECOND SIGNATURE MISSING"),
        ({"primer_signed_at": None, "helper_signed_at": None}, "NOT SIGNED"),
        ({"primer": "", "primer_signed_at": None}, "name not recorded, not signed"),
        ({"copy": 1}, "Copy 2"),
        ({"copy": 6}, "Copy 7"),
        ({"practice": True}, "PRACTICE"),
        ({"practice": True, "primer_signed_at": None}, "SECOND SIGNATURE MISSING"),
        ({"use_by": None, "primed_at": None}, "CONTENTS NOT RECORDED"),
    ],
)
def test_what_a_hurried_reader_must_not_miss_is_printed(
    changed: dict[str, object], says: str
) -> None:
    shown = [each.text for each in words(render_tag(facts(**changed)))]
    joined = " ".join(shown)
    # Two lines of the tag: their words need not follow one another.
    assert says in joined or set(says.split()) <= set(shown)


def test_the_same_facts_give_the_same_bytes() -> None:
    assert render_tag(FACTS) == render_tag(replace(FACTS))
    assert render_tag(FACTS) != render_tag(facts(number="C-0420"))


def test_what_is_long_on_many_a_morning_still_fits_the_tag() -> None:
    tag = facts(
        circuit_type="Paediatric 1/4, retrieval",
        place="Box 2, store room",
        use_by_reason="Three-way tap, high pressure, lot T77-0B1, expires 2026-11-30",
        prime_lines=(
            "Prime: sodium chloride 0.9 % and human albumin 20 %, 1.35 L",
            "Red cells 280 mL. Heparin 5000 units.",
        ),
        primer="Margareta Lindqvist",
        helper="Joaquín Ruiz Zapatero",
        parts_line="23 parts: 15 own lot or serial, 3 inside the pack, 2 lot not readable, "
        "1 lot not recorded, 2 not fitted",
    )
    said = text(render_tag(tag))
    assert "PLAIN TAG" not in said
    assert "Prime: sodium chloride 0.9 % and human albumin" in said


@pytest.mark.parametrize("whole", ["20 %,", "1.35 L", "2026-11-25 04:10 CET", "30 days)"])
def test_no_line_ends_inside_a_quantity_or_a_moment(whole: str) -> None:
    """A number on one line and its unit on the next is another dose to a tired reader."""
    said = plain(f"Prime of albumin at {whole} and more words")
    for room in range(1, 400):
        for line in wrapped(said, Face("sans"), 8, room) or []:
            shown = as_text(line).replace("\u00a0", " ")
            assert whole in shown or not set(whole.split()) & set(shown.split()), shown


def test_a_name_that_does_not_fit_makes_a_plain_tag_that_says_so() -> None:
    pdf = render_tag(facts(helper=ENDLESS))
    said = squeezed(text(pdf))
    assert squeezed("PLAIN TAG: helper did not fit") in said
    assert squeezed(ENDLESS) in said
    assert squeezed("2026-12-25 04:10 CET") in said
    (page,) = pages(pdf, 203)
    assert symbols(page) == [FACTS.symbol]


def test_a_plain_tag_that_needs_two_labels_says_so_and_carries_the_symbol_on_both() -> None:
    pdf = render_tag(facts(helper=" ".join([ENDLESS] * 40), practice=True, helper_signed_at=None))
    drawn = pages(pdf, 203)
    assert len(drawn) > 1
    assert [symbols(page) for page in drawn] == [[FACTS.symbol]] * len(drawn)
    shown = text(pdf)
    every = ("C-0419", "2026-12-25 04:10 CET", "PRACTICE", "SECOND SIGNATURE MISSING")
    for number in range(1, len(drawn) + 1):
        assert f"Tag {number} of {len(drawn)}." in shown
    for fact in every:
        assert shown.count(fact) == len(drawn)
    assert squeezed(ENDLESS) in squeezed(shown)


def test_a_tag_without_a_symbol_says_what_to_type() -> None:
    said = text(render_tag(facts(symbol="X" * 4000)))
    assert "PLAIN TAG: no symbol could be made. Type the number. C-0419" in said
    assert "2026-12-25 04:10 CET" in said


def test_what_the_typeface_lacks_is_written_out_and_not_left_out() -> None:
    said = squeezed(text(render_tag(facts(primer="王 Li\x07", helper="e\u0301 מ"))))
    assert "[U+738B]Li[U+0007]" in said
    assert "é[U+05DE]" in said  # right-to-left letters in the wrong order are another name


def test_a_signature_of_another_day_shows_its_day() -> None:
    said = text(render_tag(facts(helper_signed_at=PRIMED + timedelta(hours=21))))
    assert "Assisted and checked: J. Ruiz, signed 2026-11-26 01:10" in said


def test_letters_of_lots_and_of_the_number_are_underlined_and_digits_are_not() -> None:
    """Look at the dots below "C" and below "0" of the number: only the letter has a line."""
    pdf = render_tag(FACTS)
    (page,) = pages(pdf, 203)
    number = next(word for word in words(pdf) if word.text == "C-0419").box
    wide = number.width / len("C-0419")
    size = number.width / len("C-0419") / 0.602  # a digit of this face is .602 of its size wide
    field = next(each for each in LABEL.fields if each.name == "number").box
    line = field.y + field.height / 2 + size * (0.965 - 0.6 + 0.13)
    for at, letter in enumerate("C-0419"):
        below = Box(x=number.x + (at + 0.2) * wide, y=line, width=wide * 0.6, height=size * 0.06)
        assert (dark_box(page, below, 203) < 128).any() == (letter == "C"), letter


def _changed(primer: str, helper: str, place: str, reason: str, prime: str) -> TagFacts:
    return facts(
        primer=primer, helper=helper, place=place, use_by_reason=reason, prime_lines=(prime,)
    )


def test_no_text_ever_runs_into_the_symbol_or_over_the_edge() -> None:
    (page,) = pages(render_tag(FACTS), 203)
    alone = inside_frame(page, 203)

    @given(st.builds(_changed, names, names, names, names, names))
    def holds(tag: TagFacts) -> None:
        pdf = render_tag(tag)
        for each in pages(pdf, 203):
            assert np.array_equal(inside_frame(each, 203), alone), "only the symbol in its frame"
            if "PLAIN TAG" not in text(pdf):
                assert outside_boxes(each, LABEL, 203).min() == 255, "each text in its own box"
        for word in words(pdf):
            box = word.box
            assert not box.overlaps(SYMBOL.box), word
            assert box.x >= 0, word
            assert box.x + box.width <= LABEL.width, word

    holds()


latin = st.text("WMabcåłŁ₂Ø-.() ", max_size=50) | st.text("WMabcåłŁ₂Ø-. ", max_size=900)


@given(st.builds(_changed, latin, latin, latin, latin, latin))
def test_whatever_names_are_nothing_is_left_out(tag: TagFacts) -> None:
    said = squeezed(text(render_tag(tag)))
    # A text that goes on with a second tag is parted by what stands on top of each.
    said = re.sub(r"PLAINTAG:\w+didnotfit\.Tag\d+of\d+\.", "", said)
    for name in (tag.primer, tag.helper, tag.place, tag.use_by_reason, *tag.prime_lines):
        assert squeezed(name) in said
    for fact in ("C-0419", "2026-12-25 04:10 CET", "serial 000452", "ring 5512"):
        assert squeezed(fact) in said


def contents(number: int) -> TagContents:
    """Return what a tag tells phones, with so many items of a lot each."""
    items = tuple(
        ContentsItem(count=1 + at % 3, item=f"0952123400{at:04d}", lot=f"T{at:02d}-0B1")
        for at in range(number)
    )
    return replace(
        CONTENTS, site_code="7QXM", number="C-0419", items=items, practice=False, zone=FACTS.zone
    )


@pytest.mark.parametrize("name", ["circuit_tag", "circuit_tag_large"])
@pytest.mark.parametrize("dpi", [203, 300, 600])
def test_phones_read_the_whole_text_and_how_much_of_the_list_it_holds(name: str, dpi: int) -> None:
    tag = facts(contents=contents(30))
    signer = tag_signer(KEYS)
    made = print_tag(tag, dpi=dpi, label=load_label(name), sign=signer)
    (page,) = pages(made.pdf, dpi)
    (found,) = zxingcpp.read_barcodes(
        np.kron(page, np.ones((2, 2), np.uint8)) if dpi < 600 else page,
        formats=zxingcpp.barcode_formats_from_str("QRCode"),
        text_mode=zxingcpp.TextMode.Plain,
    )
    read = read_contents(found.text)
    assert read is not None
    assert read.signature is not None
    assert signed_by(read.signed_text, read.signature, [tag_public(KEYS)]) == tag_public(KEYS)
    assert read.of == 30
    assert read.items == contents(30).items[: len(read.items)]
    least = {"circuit_tag": 9, "circuit_tag_large": 30}[name]
    assert len(read.items) >= least
    listed = "all 30 items" if len(read.items) == 30 else f"{len(read.items)} of 30 items"
    assert f"Any phone shows {listed}" in text(made.pdf)
    if len(read.items) < 30:
        assert f"{30 - len(read.items)} DO NOT FIT HERE" in found.text
    for name_on_tag in (tag.primer, tag.helper):
        assert name_on_tag not in found.text


def test_the_large_tag_prints_every_item_with_its_lot() -> None:
    said = text(render_tag(facts(contents=contents(30)), label=load_label("circuit_tag_large")))
    assert "PLAIN TAG" not in said
    for item in contents(30).items:
        assert f"{item.count} × {item.item} lot {item.lot}" in said


def test_a_tag_that_does_not_read_back_is_a_plain_one_that_says_so() -> None:
    """A line across the symbol, as an edited label could bring it, is seen before it is printed."""
    label = load_label("circuit_tag")
    box = label.symbols[0].box
    across = tuple(
        Rule(box=Box(x=box.x, y=box.y + part, width=box.width, height=1.5))
        for part in (6, 9, 12, 15)
    )
    made = print_tag(FACTS, label=replace(label, rules=(*label.rules, *across)))
    assert made.plain
    said = squeezed(text(made.pdf))
    assert squeezed("PLAIN TAG: the label did not read back.") in said
    assert squeezed("2026-12-25 04:10 CET") in said


def test_a_label_whose_file_somebody_broke_still_leaves_a_tag(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    (tmp_path / "circuit_tag").mkdir()
    (tmp_path / "circuit_tag" / "label.toml").write_text("of = circuit", encoding="utf-8")
    monkeypatch.setattr("traceability.printing.label_file.labels_folder", lambda: tmp_path)
    pdf = render_tag(FACTS)
    said = squeezed(text(pdf))
    assert squeezed("PLAIN TAG: the label's file cannot be used.") in said
    for fact in ("C-0419", "2026-12-25 04:10 CET", "serial 000452", "ring 5512"):
        assert squeezed(fact) in said
    (page,) = pages(pdf, 203)
    assert symbols(page) == [FACTS.symbol]
