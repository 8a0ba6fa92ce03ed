"""Which symbols of a picture stand on one pack.

Sources: partners in another symbol of the same item: GS1 General Specifications, section 4.13; the
link of a HIBC secondary: ANSI/HIBC 2.6, section 2.2.2. Texts are our own, under 952, GS1's prefix
for demonstrations, and a labeller that is given to nobody.
"""

from datetime import date
from typing import Final

import pytest
from hypothesis import given
from hypothesis import strategies as st

from traceability.domain.packs_seen import packs_seen
from traceability.domain.symbols_seen import PackSeen, SymbolSeen, What, reading_order
from traceability.domain.tags import SymbolKind, write_symbol
from traceability.identifiers.checks import hibc_check

TODAY: Final = date(2026, 11, 28)
TAP: Final = "09521234000013"
BAG: Final = "09521234000020"
SIDE: Final = 80
"""Dots: the side of a symbol."""


def whole(gtin: str, lot: str, serial: str = "") -> str:
    return f"01{gtin}1733033110{lot}" + (f"\x1d21{serial}" if serial else "")


def seen(
    *placed: tuple[str, str, int, int], suspect: frozenset[int] = frozenset()
) -> tuple[SymbolSeen, ...]:
    """Return symbols: text, identifier, and where their upper left corner lies."""
    return tuple(
        SymbolSeen(
            number=number,
            text=text,
            symbology_identifier=identifier,
            corners=((x, y), (x + SIDE, y), (x + SIDE, y + SIDE), (x, y + SIDE)),
            suspect=number in suspect,
        )
        for number, (text, identifier, x, y) in enumerate(placed, 1)
    )


def packs(*placed: tuple[str, str, int, int]) -> list[list[int]]:
    return [[each.number for each in pack.symbols] for pack in packs_seen(seen(*placed), TODAY)]


def hibc_halves(lot: str) -> tuple[str, str]:
    """Return primary and secondary, tied by the link character."""
    primary = "+A999BAG11"
    primary += hibc_check(primary)
    secondary = f"+$$3330331{lot}{primary[-1]}"
    return primary, secondary + hibc_check(secondary)


def test_five_packs_of_one_lot_carry_one_code_and_are_five() -> None:
    placed = [(whole(TAP, "T77"), "]d2", 100 * n, 0) for n in range(5)]
    assert packs(*placed) == [[1], [2], [3], [4], [5]]


def test_the_same_in_bars_and_in_squares_beside_each_other_is_one_pack() -> None:
    text = whole(TAP, "T77")
    square, bars = (text, "]d2", 0, 0), (text, "]C1", 0, 100)
    assert packs(square, bars) == [[1, 2]]
    # Two such packs are two, whoever lies nearer to whom.
    assert packs(square, bars, (text, "]d2", 200, 0), (text, "]C1", 200, 100)) == [[1, 2], [3, 4]]


def test_far_apart_they_are_two_packs() -> None:
    text = whole(TAP, "T77")
    assert packs((text, "]d2", 0, 0), (text, "]C1", 0, 1000)) == [[1], [2]]


def test_a_shop_code_beside_the_full_code_adds_nothing_to_scan() -> None:
    found = packs_seen(seen((TAP[1:], "]E0", 0, 0), (whole(TAP, "T77"), "]d2", 0, 100)), TODAY)
    assert [(len(each.symbols), [one.text for one in each.scans]) for each in found] == [
        (2, [whole(TAP, "T77")])
    ]
    # Doubt about what is not scanned is no doubt about the pack.
    doubted = seen(
        (TAP[1:], "]E0", 0, 0), (whole(TAP, "T77"), "]d2", 0, 100), suspect=frozenset({1})
    )
    assert [each.suspect for each in packs_seen(doubted, TODAY)] == [False]


def test_of_a_doubted_and_a_sure_symbol_that_say_the_same_the_sure_one_is_scanned() -> None:
    text = whole(TAP, "T77")
    two = seen((text, "]C1", 0, 0), (text, "]d2", 0, 100), suspect=frozenset({1}))
    (pack,) = packs_seen(two, TODAY)
    assert (pack.scans[0].number, pack.suspect) == (2, False)


def test_a_shop_code_of_another_product_stays_apart() -> None:
    assert packs((BAG[1:], "]E0", 0, 0), (whole(TAP, "T77"), "]d2", 0, 100)) == [[1], [2]]


def test_product_and_lot_in_two_symbols_are_scanned_in_that_order() -> None:
    lot = "1733033110T77"
    (pack,) = packs_seen(seen((lot, "]C1", 0, 0), (f"01{TAP}", "]C1", 0, 100)), TODAY)
    assert [each.text for each in pack.scans] == [f"01{TAP}", lot]
    assert pack.whole


def test_half_a_label_between_two_packs_is_nobodys() -> None:
    first, second = (f"01{TAP}", "]C1", 0, 0), (f"01{BAG}", "]C1", 400, 0)
    found = packs_seen(seen(first, second, ("1733033110T77", "]C1", 200, 0)), TODAY)
    assert [(len(each.symbols), each.unclear) for each in found] == [
        (1, False),
        (1, False),
        (1, True),
    ]
    # Clearly beneath one of them, it belongs there.
    assert packs(first, second, ("1733033110T77", "]C1", 0, 85)) == [[1, 3], [2]]


def test_halves_with_a_link_find_each_other_past_a_nearer_neighbour() -> None:
    primary, secondary = hibc_halves("H0I1")
    other = "+A999TAP11"
    other += hibc_check(other)
    assert other[-1] != primary[-1], "else the link would fit both"
    found = packs((other, "]C0", 0, 0), (secondary, "]C0", 100, 0), (primary, "]C0", 260, 0))
    assert found == [[1], [2, 3]]


def test_one_serial_is_one_piece_wherever_its_symbols_lie() -> None:
    text = whole(TAP, "T77", "0042")
    assert packs((text, "]d2", 0, 0), (text, "]d2", 3000, 0)) == [[1, 2]]
    assert packs((text, "]d2", 0, 0), (whole(TAP, "T77", "0043"), "]d2", 90, 0)) == [[1], [2]]


def test_a_carton_and_the_packs_beside_it_are_not_one() -> None:
    carton = "19521234000010"
    assert packs((whole(carton, "T77"), "]C1", 0, 0), (whole(TAP, "T77"), "]d2", 0, 90)) == [
        [1],
        [2],
    ]


@pytest.mark.parametrize(
    ("text", "what"),
    [
        (write_symbol(SymbolKind.ACT, "NEXT"), What.OURS),
        (write_symbol(SymbolKind.BADGE, "LIND7K"), What.OURS),
        ("8018952123400000000018", What.PERSON),
        ("https://wards.example/any?x=1", What.PART),
    ],
)
def test_cards_and_persons_are_no_packs(text: str, what: What) -> None:
    (pack,) = packs_seen(seen((text, "]d2" if text.startswith("8018") else "]d1", 0, 0)), TODAY)
    assert pack.what is what


def test_a_code_with_a_wrong_check_digit_joins_nothing() -> None:
    wrong = f"01{TAP[:-1]}4"
    assert packs((wrong, "]C1", 0, 0), (whole(TAP, "T77"), "]d2", 0, 90)) == [[1], [2]]


def test_boxes_are_numbered_as_people_read() -> None:
    def box(x: int, y: int) -> tuple[tuple[int, int], ...]:
        return ((x, y), (x + SIDE, y + 9), (x + SIDE - 9, y + SIDE), (x, y + SIDE))

    askew = [box(300, 0), box(0, 30), box(150, 12), box(10, 200), box(160, 190)]
    assert reading_order(askew) == [1, 2, 0, 3, 4]


SYMBOLS: Final = st.lists(
    st.tuples(
        st.sampled_from(
            [
                whole(TAP, "T77"),
                whole(TAP, "T78"),
                whole(TAP, "T77", "1"),
                f"01{TAP}",
                "1733033110T77",
                TAP[1:],
                *hibc_halves("H0I1"),
                "",
                "\x1d",
                "x",
            ]
        ),
        st.sampled_from(["]d2", "]C1", "]C0", "]E0", "]d1"]),
        st.integers(0, 600),
        st.integers(0, 600),
    ),
    max_size=12,
)


@given(SYMBOLS)
def test_every_symbol_is_in_one_pack_and_no_pack_holds_two_of_a_kind(
    placed: list[tuple[str, str, int, int]],
) -> None:
    symbols = seen(*placed)
    found = packs_seen(symbols, TODAY)
    numbers = [each.number for pack in found for each in pack.symbols]
    assert sorted(numbers) == list(range(1, len(placed) + 1))
    assert found == packs_seen(symbols, TODAY)
    for pack in found:
        assert set(pack.scans) <= set(pack.symbols)
        assert _no_two_alike(pack)


def _no_two_alike(pack: PackSeen) -> bool:
    kinds = [(each.text, each.symbology_identifier) for each in pack.symbols]
    serial = any("\x1d21" in text for text, _ in kinds)
    return serial or len(kinds) == len(set(kinds))
