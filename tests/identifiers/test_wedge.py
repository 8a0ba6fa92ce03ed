"""Typed symbols: every layout undone, or the reading is suspect; never a wrong one believed."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.identifiers.strategies import TODAY, gs1_elements, hibc_combined, hibc_primaries
from traceability.identifiers.interpret import interpret
from traceability.identifiers.reading import Context, Element, Reading, Status
from traceability.identifiers.wedge import LAYOUTS, is_strange, typed_as, what_was_sent
from traceability.identifiers.write import write_element_string

HOSTS = sorted(set(LAYOUTS) - {"us"})


def _typed(
    text: str, host: str | None, scanner: str = "us", previous: str | None = None
) -> Reading:
    context = Context(
        channel="keyboard", scanner_layout=scanner, host_layout=host, previous=previous
    )
    return interpret(text, today=TODAY, context=context)


def _ends_in_dead_key(text: str, host: str) -> bool:
    return LAYOUTS[host].get(text[-1], "").startswith("dead ")


@given(st.sampled_from(HOSTS), hibc_primaries() | hibc_combined())
def test_hibc_is_recovered_on_every_known_host(host: str, text: str) -> None:
    if not _ends_in_dead_key(text, host):
        reading = _typed(typed_as(text, scanner_layout="us", host_layout=host), host)
        assert (reading.status, reading.recovered) == (Status.OK, text)


@given(st.sampled_from(HOSTS), gs1_elements(), st.sampled_from(["]d2", "]C1", ""]))
def test_gs1_is_recovered_or_doubted_and_never_believed_wrong(
    host: str, elements: tuple[Element, ...], prefix: str
) -> None:
    text = prefix + write_element_string(elements)
    if not _ends_in_dead_key(text, host):
        reading = _typed(typed_as(text, scanner_layout="us", host_layout=host), host)
        assert reading.status in (Status.OK, Status.SUSPECT)
        if reading.status is Status.OK:
            assert (reading.recovered, set(reading.elements)) == (text, set(elements))


@given(st.sampled_from([*HOSTS, "us"]), st.sampled_from([*HOSTS, "us"]), hibc_primaries())
def test_what_was_typed_is_among_what_may_have_been_sent(
    scanner: str, host: str, text: str
) -> None:
    sendable = all(
        seen != "" and not seen.startswith("dead ") for seen in LAYOUTS[scanner].values()
    )
    if sendable and not _ends_in_dead_key(text, host):
        shown = typed_as(text, scanner_layout=scanner, host_layout=host)
        sent = what_was_sent(shown, scanner_layout=scanner, host_layout=host)
        assert sent is None or text in sent


@given(st.sampled_from([*HOSTS, None]), gs1_elements())
def test_an_unproven_station_is_never_believed(
    host: str | None, elements: tuple[Element, ...]
) -> None:
    text = write_element_string(elements)
    shown = typed_as(text, scanner_layout="us", host_layout=host) if host else text
    assert _typed(shown, None).status is Status.SUSPECT


def test_swapped_y_and_z_leave_a_lot_that_looks_right_and_is_doubted() -> None:
    reading = _typed("010952123454321310LZY7", None)
    assert (reading.reason_codes, reading.lot) == (("layout-unproven",), "LZY7")


def test_the_prefix_typed_on_a_german_host_is_no_hibc() -> None:
    shown = typed_as("]d2010952123454321310A", scanner_layout="us", host_layout="de")
    assert shown == "+d2010952123454321310A"
    assert _typed(shown, None).reason_codes[0] == "bad-charset"
    assert _typed(shown, "de").lot == "A"


def test_an_unproven_strange_text_names_the_layouts_that_would_explain_it() -> None:
    shown = typed_as("+B777PACK120/$$3271231Z9N", scanner_layout="us", host_layout="se")
    reading = _typed(shown, None)
    assert reading.host_layouts == ("se",)
    assert reading.alternative is not None
    assert ("lot", "Z9") in reading.alternative


def test_two_possible_originals_are_doubted() -> None:
    # On a Swedish host "Ä" is Shift+' or the dead diaeresis before A: "\"" or "]A"
    assert set(what_was_sent("Ä", scanner_layout="us", host_layout="se") or ()) >= {'"', "]A"}
    assert _typed("Ä0PLAIN", "se").status is not Status.OK


def test_the_same_layout_on_both_sides_changes_nothing() -> None:
    reading = _typed("010952123454321310AB1", "us")
    assert (reading.status, reading.recovered) == (Status.OK, None)


def test_a_pair_typed_on_one_keyboard_is_linked() -> None:
    first = typed_as("+B777PACK120E", scanner_layout="us", host_layout="be")
    second = typed_as("+$$3271231Z7AI", scanner_layout="us", host_layout="be")
    assert _typed(second, "be", previous=first).reason_codes == ("link-mismatch",)


@pytest.mark.parametrize(
    ("text", "strange"),
    [("`B777", True), ("¿B777", True), ("010A", False), ("+B777/$$3", False), ("ABC#", True)],
)
def test_strange_is_what_no_supported_symbol_sends(text: str, strange: bool) -> None:
    assert is_strange(text) == strange
