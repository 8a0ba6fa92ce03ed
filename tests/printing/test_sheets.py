"""Act cards, badges and place labels: read back from the raster, texts in their boxes."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.printing.paper import (
    dark_box,
    outside_boxes,
    pages,
    runs_of_dots,
    sizes_mm,
    symbols,
    text,
    words,
)
from traceability.domain.act_cards import CARDS, COUNT_CARDS, DIGIT_CARDS, REASON_CARDS, Act
from traceability.domain.tags import OwnSymbol, SymbolKind, badge_symbol, read_symbol
from traceability.printing.label_file import load_label
from traceability.printing.sheets import (
    print_places,
    render_act_cards,
    render_badges,
    render_machine_labels,
)

PERSON = {
    "code": "7QXM23KFW9",
    "name": "E. Lind",
    "roles": "primer, helper",
    "unit": "ICU 2",
    "site": "Norrvik Sound Hospital",
}
PLACE = {
    "code": "CONSOLE-3",
    "name": "Console 3",
    "duty": "mounted circuit",
    "unit": "ICU 2, Norrvik Sound Hospital",
}


@pytest.mark.parametrize("dpi", [203, 300])
def test_every_act_reason_and_count_has_a_card_that_reads_back(dpi: int) -> None:
    read = [
        read_symbol(symbol)
        for page in pages(render_act_cards(dpi=dpi), dpi)
        for symbol in symbols(page)
    ]
    bodies = [*(str(act) for act in Act), *REASON_CARDS, *COUNT_CARDS, *DIGIT_CARDS]
    assert sorted(bodies) == sorted(each.body for each in read if isinstance(each, OwnSymbol))
    assert len(read) == len(bodies)


def test_cards_say_number_and_verb() -> None:
    said = text(render_act_cards())
    shown = {word.text for word in words(render_act_cards())}
    for number, verb in CARDS.values():
        assert str(number) in shown
        assert set(verb.split()) <= shown
    assert "Reason" in said
    assert "Count" in said


def test_the_symbol_of_a_card_is_forty_millimetres_and_lies_on_whole_dots() -> None:
    """40 x 40 mm: this project's rule for control cards, common practice, no source."""
    (page, *_) = pages(render_act_cards(dpi=300), 300)
    label = load_label("act_card")
    box, (field,) = label.symbols[0].box, label.symbols
    side = (210 - 3 * label.width) / 2
    assert side >= 5, "printers leave the edge white"
    around = dark_box(page, type(box)(x=side + box.x, y=10 + box.y, width=44, height=44), 300)
    dark = np.flatnonzero((around < 128).any(axis=0))
    assert (dark[-1] - dark[0] + 1) * 25.4 / 300 == pytest.approx(40, abs=2.5)
    assert set(np.unique(around)) == {0, 255}
    assert math.gcd(*runs_of_dots(around)) * 25.4 / 300 >= field.module


def test_badges_and_places_read_back_and_hold_no_name_in_the_symbol() -> None:
    (badge,) = pages(render_badges([PERSON]), 300)
    (place,) = pages(print_places([PLACE], site_code="7QXM").pdf, 203)
    assert [read_symbol(each) for each in symbols(badge)] == [
        OwnSymbol(SymbolKind.BADGE, "7QXM23KFW9")
    ]
    assert [read_symbol(each) for each in symbols(place)] == [
        OwnSymbol(SymbolKind.PLACE, "7QXM.CONSOLE-3")
    ]


def test_the_label_of_a_machine_reads_back_as_a_part_of_ours() -> None:
    machine = {**PLACE, "code": "BME-307", "name": "Heater-cooler Warm 4", "duty": "Serial HC-1"}
    (label,) = pages(render_machine_labels([machine], site_code="7QXM"), 203)
    assert [read_symbol(each) for each in symbols(label)] == [
        OwnSymbol(SymbolKind.PART, "7QXM.BME-307")
    ]
    with pytest.raises(ValueError, match="no body"):
        render_machine_labels([{**machine, "code": "BME/307"}], site_code="7QXM")


def test_a_badge_is_as_large_as_a_bank_card() -> None:
    """85.60 x 53.98 mm: ISO/IEC 7810, ID-1 (from memory)."""
    ((wide, tall),) = sizes_mm(render_badges([PERSON]))
    assert wide == pytest.approx(85.60, abs=0.1)
    assert tall == pytest.approx(53.98, abs=0.1)


def test_each_person_has_a_page() -> None:
    other = {**PERSON, "code": "7QXM23KFWA", "name": "J. Ruiz"}
    drawn = pages(render_badges([PERSON, other]), 300)
    assert [symbols(page) for page in drawn] == [
        [badge_symbol("7QXM23KFW9")],
        [badge_symbol("7QXM23KFWA")],
    ]


names = st.text("WMåłŁ₂Øgj-. ", max_size=80) | st.text(max_size=80)


@given(st.builds(lambda name, roles: {**PERSON, "name": name, "roles": roles}, names, names))
def test_whatever_names_each_text_of_a_badge_stays_in_its_box(person: dict[str, str]) -> None:
    (page,) = pages(render_badges([person]), 300)
    assert outside_boxes(page, load_label("badge"), 300).min() == 255
    assert symbols(page) == [badge_symbol("7QXM23KFW9")]


def test_a_name_that_does_not_fit_shows_that_it_goes_on() -> None:
    (shown,) = (
        word.text
        for word in words(print_places([{**PLACE, "name": "W" * 90}], site_code="7QXM").pdf)
        if "W" in word.text
    )
    assert shown.endswith("…")
    assert len(shown) > 10


@pytest.mark.parametrize("code", ["console 3", "CONSOLE_3", "", "-A", "Å"])
def test_a_code_that_no_symbol_can_hold_is_refused(code: str) -> None:
    with pytest.raises(ValueError, match="no body of a symbol"):
        print_places([{**PLACE, "code": code}], site_code="7QXM")
