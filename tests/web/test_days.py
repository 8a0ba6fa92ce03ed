"""The picture of the next 31 days: every circuit, its day, inside the frame."""

from datetime import UTC, datetime, timedelta
from xml.etree import ElementTree as ET
from zoneinfo import ZoneInfo

from hypothesis import given
from hypothesis import strategies as st

from traceability.web.pictures.days import LEFT, RIGHT, SIZE, WIDTH, ShelfDay, days
from traceability.web.pictures.letters import wide

NOW = datetime(2026, 11, 25, 2, 40, tzinfo=UTC)
ZONE = ZoneInfo("Europe/Stockholm")


def row(minutes: int, style: str, words: str) -> ShelfDay:
    until = NOW + timedelta(minutes=minutes)
    return ShelfDay(number="C-0413", mark="whole", until=until, style=style, words=words)


rows = st.builds(
    row,
    st.integers(0, 60 * 24 * 70),
    st.sampled_from(["full", "thin"]),
    st.sampled_from(["use by 2026-12-22 13:00", "signature missing; use by 2026-12-25 10:46"]),
)


@given(st.lists(rows, min_size=1, max_size=6))
def test_words_stay_inside_and_are_all_told(given: list[ShelfDay]) -> None:
    drawn = ET.fromstring(days(given, NOW, ZONE))  # noqa: S314 - ours
    told = drawn.findtext("desc") or ""
    texts = [each for each in drawn.iter("text") if each.get("class") == "till"]
    assert [each.text for each in texts] == [each.words for each in given]
    assert all(each.words in told for each in given)
    for text in texts:
        x, long = float(text.get("x", 0)), wide(text.text or "", SIZE)
        left, right = (x - long, x) if text.get("text-anchor") == "end" else (x, x + long)
        assert left >= LEFT - 0.1
        assert right <= WIDTH


def test_a_bar_ends_on_its_day_and_one_beyond_the_frame_has_no_end() -> None:
    drawn = days([row(60 * 24 * 31 // 2, "full", "a"), row(60 * 24 * 40, "full", "b")], NOW, ZONE)
    middle = (LEFT + RIGHT) / 2
    assert f"H{middle:.1f}" in drawn
    assert f"H{RIGHT:.1f}" in drawn
    assert drawn.count('class="cap"') == 1
