"""Laws that hold for any text, and for any text that keeps its standard."""

import time

from hypothesis import example, given
from hypothesis import strategies as st

from tests.identifiers.strategies import (
    ALPHANUMERIC,
    TODAY,
    gs1_elements,
    hibc_combined,
    hibc_primaries,
    texts_82,
)
from traceability.identifiers.checks import HIBC_ALPHABET
from traceability.identifiers.hibc import read_hibc
from traceability.identifiers.interpret import interpret
from traceability.identifiers.reading import Context, Element, Source, Status
from traceability.identifiers.wedge import LAYOUTS
from traceability.identifiers.write import write_bracketed, write_element_string
from traceability.reading_messages import sentence_for

SYMBOLOGIES = "]d2 ]C1 ]Q3 ]e0 ]d1 ]Q1 ]C0 ]E0 ]E3 ]E4 ]I1 ]I0 ]A0 ]A5 ]X0 ]D2 ]k9 x ] ]d2]d2"
symbologies = st.none() | st.just("") | st.sampled_from(SYMBOLOGIES.split())
SCRAPS = (
    "01 09521234543213 10 17 271231 21 \x1d (01) (10) +A999 /$$ = &,1 =+04000 [)>\x1e06\x1d 9N "
    "\x1e\x04 ]d2 https://a.example/01/ ?17= +$$ 8110 8007 -12345678 %1D <GS> ¨ é \ud800 ٣ CT1. *+"
)
scraps = st.just(" ") | st.sampled_from(SCRAPS.split(" "))
anything = st.text() | st.lists(scraps | st.text(max_size=6), max_size=12).map("".join)
contexts = st.builds(
    Context,
    previous=st.none() | anything,
    gs_capable=st.booleans(),
    channel=st.sampled_from([None, "keyboard", "camera"]),
    scanner_layout=st.sampled_from(["us", "de", "xx"]),
    host_layout=st.sampled_from([None, "xx", *LAYOUTS]),
)


@given(anything, symbologies, st.dates(), contexts)
@example("", None, TODAY, Context())
def test_any_text_gives_a_reading_and_a_sentence(
    text: str, symbology: str | None, today: object, context: Context
) -> None:
    reading = interpret(text, symbology_identifier=symbology, today=today, context=context)  # type: ignore[arg-type]
    assert reading.text == text
    assert bool(reading.reason_codes) or reading.status in (Status.OK, Status.UNSTRUCTURED)
    assert sentence_for(reading)
    if reading.status is Status.REJECTED and reading.reason_codes[0] != "missing-required":
        assert (reading.device_identifier, reading.lot, reading.serial) == (None, None, None)
    place_in = reading.recovered or text
    assert all(0 <= fault.position <= len(place_in) for fault in reading.faults)


@given(gs1_elements())
def test_what_is_written_is_read_back(elements: tuple[Element, ...]) -> None:
    reading = interpret(write_element_string(elements), symbology_identifier="]d2", today=TODAY)
    assert set(reading.elements) == set(elements)
    assert reading.status is Status.OK or reading.reason_codes[0].endswith(
        ("separator", "replaced")
    )


@given(gs1_elements())
def test_what_is_read_is_written_back(elements: tuple[Element, ...]) -> None:
    text = write_element_string(elements)
    assert (
        write_element_string(interpret(text, symbology_identifier="]C1", today=TODAY).elements)
        == text
    )


@given(gs1_elements())
def test_the_printed_line_says_the_same_as_the_symbol(elements: tuple[Element, ...]) -> None:
    if not any("(" in value for _, value in elements):
        assert interpret(write_bracketed(elements), today=TODAY).elements == tuple(
            sorted(elements, key=lambda e: e[0] not in ("01", "11", "17", "3103"))
        )


@given(gs1_elements(), st.integers(0, 13), st.integers(1, 9))
def test_a_wrong_digit_in_the_product_is_never_accepted(
    elements: tuple[Element, ...], place: int, more: int
) -> None:
    text = write_element_string(elements)
    at = 2 + place
    wrong = text[:at] + str((int(text[at]) + more) % 10) + text[at + 1 :]
    reading = interpret(wrong, symbology_identifier="]d2", today=TODAY)
    assert reading.reason_codes == ("bad-check-digit",)


@given(hibc_combined() | hibc_primaries(), st.data())
def test_a_wrong_character_in_hibc_is_never_accepted(text: str, data: st.DataObject) -> None:
    assert read_hibc(text, Source(text, TODAY)).status is Status.OK
    place = data.draw(st.integers(1, len(text) - 1))
    other = data.draw(st.sampled_from(HIBC_ALPHABET.replace(text[place], "")))
    wrong = text[:place] + other + text[place + 1 :]
    assert interpret(wrong, today=TODAY).status is not Status.OK


@given(texts_82, st.text(ALPHANUMERIC, min_size=1, max_size=8))
def test_a_lot_is_kept_character_for_character(lot: str, serial: str) -> None:
    text = f"010952123454321310{lot}\x1d21{serial}"
    reading = interpret(text, symbology_identifier="]d2", today=TODAY)
    assert (reading.lot, reading.serial) == (lot, serial)


def test_time_grows_no_faster_than_the_text() -> None:
    heads = ["(10)", "010952123454321310", "+A999", "=", "[)>\x1e06\x1d", "https://a.example/01/"]
    for head in heads:
        for filling in ("1", "(10)", "\x1d", "=>0", "/", "17271231", "%", "<GS>", "`", "é"):
            text = (head + filling * 400)[:400]
            for context in (Context(), Context(channel="keyboard"), Context(gs_capable=False)):
                began = time.perf_counter()
                interpret(text, today=TODAY, context=context)
                assert time.perf_counter() - began < 0.25, (head, filling)
    began = time.perf_counter()
    assert interpret("1" * 5_000_000, today=TODAY).reason_codes == ("too-long",)
    assert time.perf_counter() - began < 0.25
