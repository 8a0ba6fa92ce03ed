"""A scanner that reads the acceptance sheet tells what it still has to be set to."""

import pytest

from traceability.domain.scanner_setup import Point, ScannerRead, judge_scanner
from traceability.domain.trials import LAYOUT_LINE, TRIALS
from traceability.identifiers.gs1 import GS
from traceability.identifiers.wedge import LAYOUTS
from traceability.scanner_messages import say_point

DATA_MATRIX = TRIALS[0][1]


def read(text: str, *, ended: bool = True, gap: float | None = 4) -> ScannerRead:
    """Return a read."""
    return ScannerRead(text=text, ended_by_key=ended, gap_ms=gap)


def sent_by(layout: str, text: str) -> str:
    """Return what pages read where a scanner of that layout presses its keys for the text."""
    keys = {char: us for us, char in reversed(LAYOUTS[layout].items())}
    return "".join(keys.get(char, "" if char == "]" and layout != "us" else char) for char in text)


def test_two_scans_of_a_right_scanner_tell_every_point() -> None:
    line, matrix = (
        judge_scanner(read(f"]d1{LAYOUT_LINE}")),
        judge_scanner(read(f"]d2{DATA_MATRIX}")),
    )
    assert line.right | matrix.right == set(Point)
    assert not line.wrong | matrix.wrong


@pytest.mark.parametrize(
    ("given", "wrong"),
    [
        (read(f"]d2{DATA_MATRIX.replace(GS, '')}"), {Point.SEPARATOR}),
        (read(DATA_MATRIX), {Point.PREFIX}),
        (read(f"]d1{LAYOUT_LINE.upper()}"), {Point.CASE}),
        (read(f"]d1{LAYOUT_LINE}", ended=False), {Point.ENDING}),
        (read(f"]d1{LAYOUT_LINE}", gap=80), {Point.SPEED}),
        (
            read(DATA_MATRIX.replace(GS, ""), ended=False),
            set(Point) - {Point.LAYOUT, Point.CASE, Point.SPEED},
        ),
    ],
)
def test_what_is_wrong_is_told_and_what_to_set(given: ScannerRead, wrong: set[Point]) -> None:
    told = judge_scanner(given)
    assert told.wrong == wrong
    assert all(
        "et the" in say_point(point, told) or "witch" in say_point(point, told) for point in wrong
    )


@pytest.mark.parametrize("layout", [name for name in LAYOUTS if name != "us"])
def test_the_layout_that_a_scanner_is_set_to_is_named(layout: str) -> None:
    told = judge_scanner(read(sent_by(layout, f"]d1{LAYOUT_LINE}")))
    assert Point.LAYOUT in told.wrong
    assert layout in told.layouts
    assert "US English" in say_point(Point.LAYOUT, told)


@pytest.mark.parametrize("text", ["", "\r\n", "C-0419", "0" * 4000, GS * 30, "Anna, bed 4"])
def test_what_is_not_on_the_sheet_tells_nothing(text: str) -> None:
    assert judge_scanner(read(text)).kind == ""
