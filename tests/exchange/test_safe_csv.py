"""Tables that a spreadsheet opens run nothing of what stands in them.

Source: the OWASP page on CSV injection, from memory; RFC 4180 for the form.
"""

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from traceability.exchange.safe_csv import csv_text, plain_cell


@pytest.mark.parametrize(
    "text",
    [
        "=1+1",
        "+45 123",
        "-2+3",
        "@SUM(A1)",
        "\t=1",
        "\r=1",
        "\n=1",
        "  =1",
        "＝1",
        '=HYPERLINK("x")',
    ],
)
def test_what_would_be_a_formula_is_a_text(text: str) -> None:
    ((cell,),) = list(csv.reader(io.StringIO(csv_text(["lot"], [{"lot": text}])[5:], newline="")))
    assert cell == f"'{text}"


def test_numbers_and_plain_lots_stay_as_they_are() -> None:
    assert plain_cell(-5) == -5
    assert plain_cell("TA-0701") == "TA-0701"
    assert csv_text(["a", "b"], [{"a": "0017"}]) == "a,b\r\n0017,\r\n"


@given(st.text())
def test_no_cell_ever_begins_like_a_formula(text: str) -> None:
    assert not str(plain_cell(text)).lstrip(" \u00a0").startswith(("=", "+", "-", "@", "\t", "\r"))
