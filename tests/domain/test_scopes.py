"""Texts alike and serial ranges; single values stand in tests/data/trade_values.json."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from traceability.domain.scopes import Match, alike, in_serial_range, loose_key

TEXTS = st.text(alphabet="AIO01-. /b", max_size=8)


@pytest.mark.parametrize(
    ("serial", "first", "last", "expected"),
    [
        ("HX00120", "HX00120", "HX00180", Match.IN),
        ("HX00119", "HX00120", "HX00180", Match.OUT),
        ("HX150", "HX00120", "HX00180", Match.IN),
        ("HY00150", "HX00120", "HX00180", Match.OUT),
        ("hx00150", "HX00120", "HX00180", Match.ALIKE),
        ("HX-00150", "HX00120", "HX00180", Match.ALIKE),
        ("hx00190", "HX00120", "HX00180", Match.OUT),
        ("HX00999A", "HX00120", "HX00180", Match.ALIKE),
        ("HX", "HX00120", "HX00180", Match.OUT),
        ("anything", None, None, Match.IN),
        ("HX9", "HX10", None, Match.OUT),
        ("021", "21", "24", Match.IN),
        ("HX5", "HX1", "HY9", Match.ALIKE),
        ("PUMP", "PUMP", "PUMP", Match.IN),
        ("pump", "PUMP", "PUMP", Match.ALIKE),
        ("PUMP2", "PUMP", "PUMP", Match.OUT),
    ],
)
def test_a_serial_range_compares_prefix_and_number(
    serial: str, first: str | None, last: str | None, expected: Match
) -> None:
    """Own rule, common practice, no source."""
    assert in_serial_range(serial, first, last) is expected


@given(st.integers(0, 300), st.integers(0, 300), st.integers(0, 300), st.integers(3, 6))
def test_a_range_is_by_number_whatever_the_zeros(n: int, a: int, b: int, width: int) -> None:
    low, high = sorted((a, b))
    found = in_serial_range(f"HX{n:0{width}}", f"HX{low}", f"HX{high:05}")
    assert found is (Match.IN if low <= n <= high else Match.OUT)


@given(TEXTS, TEXTS)
def test_alike_is_mutual_and_keys_are_their_own_keys(one: str, other: str) -> None:
    assert alike(one, other) is alike(other, one)
    assert loose_key(loose_key(one)) == loose_key(one)
    assert (alike(one, other) is Match.IN) == (one == other)
