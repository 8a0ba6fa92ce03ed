"""Two symbols of one pack, and what a carton opens to."""

import pytest

from tests.identifiers.strategies import TODAY
from traceability.identifiers.interpret import interpret
from traceability.identifiers.packaging import Level, opened, stated_contents
from traceability.identifiers.pairs import join
from traceability.identifiers.reading import Context, Reading, Status


def _read(text: str, symbology: str | None = None, previous: str | None = None) -> Reading:
    context = Context(previous=previous)
    return interpret(text, symbology_identifier=symbology, today=TODAY, context=context)


PRODUCT = _read("0109521234543213", "]C1")
HALF = _read("1727123110AB1", "]C1")


def test_half_a_label_waits_for_its_other_half() -> None:
    assert (HALF.status, HALF.reason_codes) == (Status.REJECTED, ("missing-required",))
    assert HALF.lot == "AB1"
    assert _read("1727123110AB1", "]C1", previous="]C10109521234543213").status is Status.OK
    assert _read("1727123110AB1", "]C1", previous="]C0ABC").status is Status.REJECTED


@pytest.mark.parametrize("pair", [(PRODUCT, HALF), (HALF, PRODUCT)])
def test_two_gs1_symbols_are_joined_and_tested_as_one(pair: tuple[Reading, Reading]) -> None:
    whole = join(*pair, TODAY)
    assert whole is not None
    assert (whole.status, whole.device_identifier, whole.lot) == (
        Status.OK,
        "09521234543213",
        "AB1",
    )


def test_symbols_that_disagree_are_not_joined_into_one() -> None:
    other = _read("0109521234000013", "]C1")
    whole = join(PRODUCT, other, TODAY)
    assert whole is not None
    assert whole.reason_codes == ("repeated-conflict",)


def test_hibc_symbols_are_joined_by_their_link_character_only() -> None:
    primary = _read("*+B777PACK120E*")
    right, wrong = _read("+$$3271231Z7EM"), _read("+$$3271231Z7AI")
    assert right.status is wrong.status is Status.OK
    whole = join(right, primary, TODAY)
    assert whole is not None
    assert (whole.device_identifier, whole.lot) == ("B777PACK120", "Z7")
    assert join(primary, wrong, TODAY) is None
    assert join(primary, PRODUCT, TODAY) is None


CARTON, BOX, TAP = "19521234543210", "29521234543217", "09521234543213"


def test_a_carton_opens_to_its_units_through_all_levels() -> None:
    inside = {CARTON: Level(holds=BOX, count=10), BOX: Level(holds=TAP, count=5)}
    contents = opened(CARTON, inside.get)
    assert (contents.device_identifier, contents.count) == (TAP, 50)
    assert contents.levels == (CARTON, BOX, TAP)
    assert opened(TAP, inside.get).count == 1


def test_levels_that_run_in_a_circle_end() -> None:
    inside = {CARTON: Level(holds=BOX, count=10), BOX: Level(holds=CARTON, count=5)}
    with pytest.raises(ValueError, match=BOX):
        opened(CARTON, inside.get)


def test_a_shipping_unit_states_what_is_inside_and_is_not_the_thing_in_the_hand() -> None:
    reading = _read("00095212340000000174" + "02" + TAP + "10W1\x1d376", "]C1")
    contents = stated_contents(reading)
    assert reading.device_identifier is None
    assert contents is not None
    assert (contents.device_identifier, contents.count) == (TAP, 6)
    assert stated_contents(PRODUCT) is None
