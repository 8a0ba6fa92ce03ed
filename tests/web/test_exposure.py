"""Time bars of an answer: one scale for all rows, its marks apart and inside."""

from datetime import UTC, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

from hypothesis import given
from hypothesis import strategies as st

from traceability.web.pictures.exposure import AXIS, WIDTH, scale_from
from traceability.web.pictures.letters import wide

NOW = datetime(2026, 11, 25, 2, 40, tzinfo=UTC)
ZONE = ZoneInfo("Europe/Stockholm")


@given(st.integers(1, 365 * 40))
def test_marks_are_few_apart_and_inside(days: int) -> None:
    scale = scale_from(NOW - timedelta(days=days), NOW, ZONE)
    boxes = [(x - wide(label, AXIS) / 2, x + wide(label, AXIS) / 2) for x, label in scale.ticks]
    assert 1 <= len(boxes) <= 5
    assert all(left >= 0 and right <= WIDTH for left, right in boxes)
    assert all(one[1] < two[0] for one, two in pairwise(boxes))
    assert 0 < scale.x(NOW) < WIDTH


def test_over_a_year_the_marks_are_first_days_of_months() -> None:
    scale = scale_from(datetime(2025, 7, 30, tzinfo=UTC), NOW, ZONE)
    assert [label for _, label in scale.ticks] == ["2026-01", "2026-07"]
