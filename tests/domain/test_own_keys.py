"""Our symbols as GS1 keys: valid by the standard, and whatever reads them finds what it found."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from traceability.domain.own_keys import PRIVATE, OwnKeys
from traceability.domain.tags import (
    BrokenSymbol,
    OwnSymbol,
    badge_symbol,
    circuit_symbol,
    form_symbol,
    machine_symbol,
    place_symbol,
    private_form,
    read_symbol,
)
from traceability.identifiers.checks import gs1_check
from traceability.identifiers.interpret import interpret
from traceability.identifiers.reading import Standard, Status

TODAY = date(2030, 1, 1)
DIGITS = "952123400000"
NUMBER = DIGITS + gs1_check(DIGITS)
KEYS = OwnKeys(prefix="9521234", location=NUMBER, document_type=NUMBER)
"""Under 952, GS1's prefix for demonstrations."""
OURS = {
    "8004": circuit_symbol("7QXM", "C-0419"),
    "8004 of a machine": machine_symbol("7QXM", "BME-307"),
    "414": place_symbol("7QXM", "CONSOLE-1"),
    "253": form_symbol("7QXM", "C-0420"),
}

prefixes = st.integers(4, 12).map(lambda long: ("952" + "1234567890")[:long])
names = st.text("ABCXYZ0189-", min_size=1, max_size=9).filter(lambda t: t.strip("-") == t)


@pytest.mark.parametrize(("key", "text"), OURS.items())
def test_a_key_is_valid_and_means_what_the_private_form_means(key: str, text: str) -> None:
    written = KEYS.carrying(text)
    read = interpret(written, symbology_identifier="]d2", today=TODAY)
    assert read.status is Status.OK
    assert read.standard is Standard.GS1
    assert read.elements[0][0] == key.partition(" ")[0]
    assert read.device_identifier is None, "no product"
    assert not read.private, "no patient"
    assert read_symbol(f"]d2{written}\r") == read_symbol(text)
    assert private_form(written) == text


def test_a_badge_is_the_service_relation_of_a_provider_and_its_own_code() -> None:
    code = KEYS.badge_code(lambda: "NEVER")
    written = badge_symbol(code)
    read = interpret(written, symbology_identifier="]d2", today=TODAY)
    assert (read.status, read.elements) == (Status.OK, (("8017", code),))
    assert code.startswith("9521234")
    own = read_symbol(written)
    assert isinstance(own, OwnSymbol)
    assert own.body == code
    assert PRIVATE.badge_code(lambda: "OLD7BADG") == "OLD7BADG"
    assert badge_symbol("OLD7BADG").startswith("CTB.")


@given(prefixes, names)
def test_tags_of_every_earlier_prefix_are_read(prefix: str, name: str) -> None:
    written = OwnKeys(prefix=prefix).carrying(machine_symbol("7QXM", name))
    own = read_symbol(written)
    assert isinstance(own, OwnSymbol)
    assert own.body == f"7QXM.{name}"


@given(st.data())
def test_one_wrong_character_is_never_another_thing_of_ours(data: st.DataObject) -> None:
    text = KEYS.carrying(data.draw(st.sampled_from(sorted(OURS.values()))))
    at = data.draw(st.integers(0, len(text) - 1))
    char = data.draw(st.sampled_from("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ.-"))
    wrong = text[:at] + char + text[at + 1 :]
    read = read_symbol(wrong)
    # In the prefix alone: of whoever the number is, the text behind it is whole.
    assert read == read_symbol(text) or not isinstance(read, OwnSymbol)


def test_half_a_tag_is_told_as_half_and_a_strangers_asset_is_not_ours() -> None:
    written = KEYS.carrying(OURS["8004"])
    assert isinstance(read_symbol(written[:-1]), BrokenSymbol)
    assert isinstance(read_symbol(written[:-4]), BrokenSymbol)
    assert read_symbol("80049521234ASSET-17") is None
    assert read_symbol("8018952123400000000018") is None, "a patient's"
    wrong = badge_symbol(KEYS.badge_code(str))
    assert read_symbol(wrong[:-1] + str((int(wrong[-1]) + 1) % 10)) is None


@pytest.mark.parametrize(
    ("keys", "text"),
    [
        (PRIVATE, OURS["8004"]),
        (OwnKeys(prefix="9521234"), OURS["414"]),
        (OwnKeys(prefix="9521234"), OURS["253"]),
        (OwnKeys(location=NUMBER[:-1] + str((int(NUMBER[-1]) + 1) % 10)), OURS["414"]),
        (KEYS, place_symbol("7QXM", "A-CODE-TOO-LONG-FOR-20")),
        (KEYS, machine_symbol("7QXM", "ASSET-TOO-LONG-FOR-30")),
    ],
)
def test_without_a_number_or_room_the_private_form_stays(keys: OwnKeys, text: str) -> None:
    assert keys.carrying(text) == text
