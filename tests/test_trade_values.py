"""Every outside trade value of our areas; each names its source in tests/data/trade_values.json."""

import json
from math import isclose
from pathlib import Path
from typing import Any

import pytest

from tests.check_values import FORMS, answers, main

FILE = Path(__file__).parent / "data" / "trade_values.json"
VALUES: list[dict[str, Any]] = json.loads(FILE.read_text())
ASKED = [value for value in VALUES if value["area"] in FORMS]
SENTENCES = {"use_by-37", "exposure-14"}
"""Values that only a sentence answers: what to say at a retrieval, what happens to a fluid."""


def agrees(found: Any, expected: Any) -> bool:
    if not isinstance(expected, dict):
        return bool(found == expected)
    exact = expected.get("tolerance_rel", 1e-9)
    return set(found) == set(expected) and all(
        isclose(found[key], value, rel_tol=exact)
        if isinstance(value, float)
        else found[key] == value
        for key, value in expected.items()
    )


def named(value: dict[str, Any]) -> str:
    return str(value["id"])


@pytest.mark.parametrize("value", ASKED, ids=named)
def test_a_trade_value_comes_out_as_published_or_worked_out(value: dict[str, Any]) -> None:
    lines = list(answers([value]))
    if value["id"] in SENTENCES:
        assert lines == []
        return
    assert lines[0]["id"] == value["id"]
    assert agrees(lines[0]["answer"], value["expect"]), lines[0]


@pytest.mark.parametrize("value", ASKED, ids=named)
def test_the_answer_owes_nothing_to_what_is_expected(value: dict[str, Any]) -> None:
    """Another expected value of the same form must not change the answer."""
    expect = value["expect"]
    other = expect
    if isinstance(expect, dict):
        other = {key: v if key == "tolerance_rel" else "other" for key, v in expect.items()}
    elif isinstance(expect, str):
        other = "other"
    assert list(answers([value])) == list(answers([value | {"expect": other}]))


@pytest.mark.parametrize(
    ("value", "says"),
    [
        ({"id": 1, "area": "use_by", "given": {"expiry": "soon", "zone": "UTC"}}, "'soon'"),
        ({"id": 2, "area": "use_by", "given": {"expiry": "2027-02-30", "zone": "UTC"}}, "02-30"),
        ({"id": 3, "area": "use_by", "given": {"expiry": "2027-02-03", "zone": "Nowhere"}}, "Now"),
        ({"id": 4, "area": "stock", "given": {"stock": {"tap": "x"}, "per_prime": {}}}, "tap"),
        ({"id": 5, "area": "standby", "given": {}}, "no rule"),
        ({"id": 6, "area": "exposure", "given": None}, "not an object"),
        ({"id": 7, "area": "gs1", "given": {"yymmdd": "27", "reading_year": 2026}}, "six digits"),
    ],
)
def test_a_bad_value_is_told_what_is_wrong_and_ends_nothing(value: Any, says: str) -> None:
    good = VALUES[[v["id"] for v in VALUES].index("use_by-01")]
    bad, after = answers([value, good])
    assert bad["id"] == value["id"]
    assert bad["answer"] is None
    assert says in bad["error"]
    assert after["answer"] == good["expect"]


def test_a_file_that_cannot_be_read_is_status_2(tmp_path: Path) -> None:
    broken = tmp_path / "broken.json"
    broken.write_text("[{")
    assert main([str(broken)]) == 2
    assert main([str(tmp_path / "none.json")]) == 2
