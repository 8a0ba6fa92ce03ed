"""A scanner that changes what it sends is found before it is trusted."""

import pytest

from traceability.domain.trials import TRIALS, Trial, judge_trial

GS = "\x1d"


@pytest.mark.parametrize("text", [text for _, text, _ in TRIALS])
def test_what_came_as_printed_is_whole(text: str) -> None:
    assert judge_trial(text) is Trial.WHOLE
    assert judge_trial(f"]d2{text}\r\n") is Trial.WHOLE


@pytest.mark.parametrize(
    ("sent", "is_"),
    [
        (TRIALS[0][1].replace(GS, ""), Trial.SEPARATOR_LOST),
        (TRIALS[3][1].swapcase(), Trial.CASE_CHANGED),
        (TRIALS[3][1].upper(), Trial.CASE_CHANGED),
        # A German keyboard behind a scanner set to US: y and z, slash and hyphen change places.
        (TRIALS[4][1].replace("/", "-").replace("+", "*"), Trial.CHANGED),
        ("C-0419", None),
        ("", None),
        ("0" * 4000, None),
    ],
)
def test_what_was_changed_on_the_way_is_said(sent: str, is_: Trial | None) -> None:
    assert judge_trial(sent) is is_
