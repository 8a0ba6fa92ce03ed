"""Labels of parts without a code of their own: read as written, and never as anybody's product."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from traceability.domain.part_labels import (
    CannotLabel,
    PartLabel,
    PartRead,
    part_symbol,
    read_part,
)
from traceability.domain.tags import OwnSymbol, SymbolKind, read_symbol, write_symbol
from traceability.identifiers.interpret import interpret
from traceability.identifiers.reading import Status

codes = st.from_regex(r"[A-Z0-9]{1,8}(-[A-Z0-9]{1,5}){0,2}", fullmatch=True)
days = st.none() | st.dates(date(2000, 1, 1), date(2099, 12, 31))


@given(codes, codes, days)
def test_what_is_written_is_read(item: str, lot: str, expiry: date | None) -> None:
    label = PartLabel(standard="none", item=item, name="x", maker="", lot=lot, expiry=expiry)
    text, kind = part_symbol("7QXM", label)
    own = read_symbol(text)
    assert kind == "datamatrix"
    assert isinstance(own, OwnSymbol)
    assert read_part(own) == PartRead(site_code="7QXM", item=item, lot=lot, expiry=expiry)
    assert interpret(text, today=date(2031, 5, 6)).device_identifier is None


def test_an_item_under_the_units_own_prefix_gets_element_strings() -> None:
    """952 is GS1's prefix for demonstrations (GS1 General Specifications, section 7.9 check)."""
    label = PartLabel(
        standard="gs1",
        item="09521234000105",
        name="Cable tie",
        maker="",
        lot="a/B 7".replace(" ", "_"),
        expiry=date(2033, 3, 31),
    )
    text, kind = part_symbol("7QXM", label)
    assert kind == "gs1-datamatrix"
    read = interpret(text, symbology_identifier="]d2", today=date(2031, 5, 6))
    assert (read.status, read.lot, read.expiry) == (Status.OK, "a/B_7", date(2033, 3, 31))


@pytest.mark.parametrize("lot", ["", "a1", "L--1", "L 1", "-1", "L/1"])
def test_a_lot_that_no_symbol_of_ours_can_hold_is_refused_and_never_changed(lot: str) -> None:
    with pytest.raises(CannotLabel) as wrong:
        part_symbol("7QXM", PartLabel(standard="none", item="T8", name="x", maker="", lot=lot))
    assert wrong.value.field == "lot"


@pytest.mark.parametrize("name", ["T8", "T8--L1--991301", "T8--L1--330331--X"])
def test_a_part_symbol_of_another_shape_says_no_lot(name: str) -> None:
    own = read_symbol(write_symbol(SymbolKind.PART, f"7QXM.{name}"))
    assert isinstance(own, OwnSymbol)
    assert read_part(own) is None
