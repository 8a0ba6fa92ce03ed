"""Our own symbols: what is written is read, and nothing that is damaged is taken for whole."""

import string
from uuid import UUID

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from traceability.domain.act_cards import CARDS, COUNT_CARDS, DIGIT_CARDS, REASON_CARDS, Act
from traceability.domain.tags import (
    OF_ANY_SITE,
    BrokenSymbol,
    OwnSymbol,
    SymbolKind,
    badge_symbol,
    circuit_symbol,
    place_symbol,
    read_symbol,
    site_and_name,
    site_code,
    write_symbol,
)
from traceability.identifiers.checks import iso_7064_mod_37_2

LETTERS = string.ascii_uppercase + string.digits
READABLE = "".join(map(chr, range(32, 127)))
names = st.from_regex(r"[A-Z0-9]([A-Z0-9-]{0,18}[A-Z0-9])?", fullmatch=True)
sites = st.text(LETTERS, min_size=4, max_size=4)
kinds = st.sampled_from(SymbolKind)
tags = st.builds(
    lambda kind, site, name: OwnSymbol(kind, name if kind in OF_ANY_SITE else f"{site}.{name}"),
    kinds,
    sites,
    names,
)


def written(tag: OwnSymbol) -> str:
    return write_symbol(tag.kind, tag.body)


@given(tags)
def test_what_is_written_is_read(tag: OwnSymbol) -> None:
    assert read_symbol(written(tag)) == tag


@given(tags, st.data())
def test_one_wrong_character_is_always_found(tag: OwnSymbol, data: st.DataObject) -> None:
    text = written(tag)
    at = data.draw(st.integers(0, len(text) - 1))
    other = data.draw(st.sampled_from(READABLE))
    assume(other.upper() != text[at])
    assert not isinstance(read_symbol(text[:at] + other + text[at + 1 :]), OwnSymbol)


@given(tags, st.data())
def test_two_changed_places_are_always_found(tag: OwnSymbol, data: st.DataObject) -> None:
    text = written(tag)
    at = data.draw(st.integers(0, len(text) - 2))
    assume(text[at] != text[at + 1])
    turned = text[:at] + text[at + 1] + text[at] + text[at + 2 :]
    assert not isinstance(read_symbol(turned), OwnSymbol)


@given(tags)
def test_no_beginning_of_a_symbol_is_a_symbol(tag: OwnSymbol) -> None:
    text = written(tag)
    for end in range(len("CT1."), len(text)):
        assert read_symbol(text[:end]) == BrokenSymbol("cut")


@given(tags, st.sampled_from(["", "]d1", "]d2", "]C0", "]D1"]), st.sampled_from(["", "\r", "\r\n"]))
def test_what_scanners_put_around_is_taken_off(tag: OwnSymbol, before: str, after: str) -> None:
    assert read_symbol(f"{before}{written(tag)}{after}") == tag
    assert read_symbol(f" {before}{written(tag)}\t") == tag


@given(tags)
def test_caps_lock_is_read_and_said(tag: OwnSymbol) -> None:
    assert read_symbol(written(tag).lower()) == OwnSymbol(tag.kind, tag.body, caps_lock=True)


@given(st.text(max_size=60) | st.text(max_size=60).map("CT1.".__add__))
def test_no_text_whatever_ends_in_an_exception(text: str) -> None:
    read = read_symbol(text)
    if isinstance(read, OwnSymbol):
        assert written(read) in text.upper()


@pytest.mark.parametrize(
    "text",
    [
        "",
        "CT",
        "CT1",
        "01095212345432131722",
        "+A999PACK1",
        "C-0419",
        "CT12345",
        "XCT1.AB",
        "ＣＴ1.A.B",
    ],
)
def test_what_does_not_begin_like_ours_is_not_ours(text: str) -> None:
    assert read_symbol(text) is None


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("CT1.", "cut"),
        ("CT1.K7QM", "cut"),
        ("CT1.K7QM.C-0419.", "cut"),
        ("CT1.K7QM.C-0419.QQ", "cut"),
        ("CT1.K7QM.C-0418.Q", "check"),
        ("CT1.K7QM.C\x000419.Q", "check"),
        ("CT1.K7QM.Ç-0419.Q", "check"),
        ("CT9.K7QM.C-0419.Q", "kind"),
        ("CT1." + "A" * 4_000 + ".A", "cut"),
    ],
)
def test_what_is_wrong_with_a_tag_is_told_apart(text: str, reason: str) -> None:
    assert read_symbol(text) == BrokenSymbol(reason)


@given(names.filter(lambda name: "-" not in name))
def test_the_check_character_is_the_standards_where_no_hyphen_is(name: str) -> None:
    """ISO/IEC 7064 MOD 37-2, by the function that is checked against published donation numbers."""
    assert badge_symbol(name)[-1] == iso_7064_mod_37_2(f"CTB{name}")


@pytest.mark.parametrize(
    "body", ["", "K7QM", "K7Q.C-1", "K7QM.C.1", "K7QM.-1", "k7qm.C-1", "K7QM.Å"]
)
def test_a_circuit_needs_a_site_and_a_name(body: str) -> None:
    with pytest.raises(ValueError, match="no body of a symbol"):
        write_symbol(SymbolKind.CIRCUIT, body)


def test_circuits_and_places_carry_their_site() -> None:
    for text, name in (
        (circuit_symbol("K7QM", "C-0419"), "C-0419"),
        (place_symbol("K7QM", "BOX-1"), "BOX-1"),
    ):
        read = read_symbol(text)
        assert isinstance(read, OwnSymbol)
        assert site_and_name(read.body) == ("K7QM", name)


def test_every_card_can_be_printed_and_no_two_are_alike() -> None:
    bodies = [*Act, *REASON_CARDS, *COUNT_CARDS, *DIGIT_CARDS]
    symbols = [write_symbol(SymbolKind.ACT, str(body)) for body in bodies]
    assert len(set(symbols)) == len(symbols)
    assert sorted(number for number, _ in CARDS.values()) == list(range(1, len(Act) + 1))


@given(st.uuids())
def test_a_site_has_one_code_of_four_characters_without_look_alikes(site: UUID) -> None:
    code = site_code(site)
    assert code == site_code(UUID(str(site)))
    assert len(code) == 4
    assert not set(code) & set("01ILOU")


def test_sites_differ_in_their_codes() -> None:
    """Time-ordered ids of one morning differ in few characters."""
    codes = {site_code(UUID(f"019abcde-f012-7{at:03x}-8000-{at:012x}")) for at in range(1000)}
    assert len(codes) > 950
