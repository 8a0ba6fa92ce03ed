"""Timelines hold for any record: nothing outside, no label over another, nothing left unsaid."""

import re
from datetime import UTC, datetime, timedelta
from itertools import combinations
from xml.etree import ElementTree as ET
from zoneinfo import ZoneInfo

from hypothesis import given, settings
from hypothesis import strategies as st

from traceability.web.pictures.letters import MONO, cut, label_svg, label_wide, wide
from traceability.web.pictures.time_axis import ticks
from traceability.web.pictures.timeline import AXIS, NAME, WHAT, WIDTH, Bar, Dot, Lane, draw

ZONE = ZoneInfo("Europe/Stockholm")
BEGIN = datetime(2026, 8, 1, tzinfo=UTC)
moments = st.integers(0, 60 * 24 * 400).map(lambda minutes: BEGIN + timedelta(minutes=minutes))
words = st.sampled_from(["console 3", "not recorded", "R-0231", "Sodium chloride 0.9 %, 1 L, lot "])
lots = st.sampled_from(["T77-0B1", "4K0O17I1", "<&>", "PH38-002552"])


@st.composite
def bars(draw_: st.DrawFn) -> Bar:
    start, end = sorted([draw_(moments), draw_(moments)])
    label = draw_(st.one_of(st.just(()), st.tuples(words), st.tuples(words, lots)))
    goes_on = draw_(st.booleans())
    style = draw_(st.sampled_from(["thin", "thick", "fluid", "open"]))
    return Bar(start, None if goes_on else end, style, label)


dots = st.builds(Dot, moments, st.sampled_from(["taken", "flow on", "part changed"]))
lanes = st.builds(
    Lane,
    st.sampled_from(
        ["Acts", "Straight connectors, no port, 2", "A place with a very long name " * 2]
    ),
    st.lists(bars(), max_size=5).map(lambda found: tuple(sorted(found, key=lambda b: b.start))),
    st.lists(dots, max_size=5).map(tuple),
)


def drawing(given: list[Lane], now: datetime, *, over: bool = False) -> ET.Element:
    return ET.fromstring(draw("A circuit over time", given, now, ZONE, over=over))  # noqa: S314 - ours


def room(text: ET.Element) -> tuple[float, float, float]:
    """Return left, right and baseline of a text, by the drawing's own measure."""
    size = {"what": WHAT, "lane": NAME}.get(text.get("class", ""), AXIS)
    long = wide(text.text or "", size, bold=text.get("class") == "lane")
    for part in text:
        long += len("".join(part.itertext())) * MONO * size + wide(part.tail or "", size)
    x = float(text.get("x", 0))
    left = x - long / 2 if text.get("text-anchor") == "middle" else x
    return left, left + long, float(text.get("y", 0))


@given(st.lists(lanes, max_size=6), moments, st.booleans())
@settings(max_examples=300, deadline=None)
def test_no_text_runs_into_another_or_out_of_the_picture(
    given: list[Lane], now: datetime, over: bool
) -> None:
    texts = [room(text) for text in drawing(given, now, over=over).iter("text")]
    for left, right, _ in texts:
        assert left >= -0.1
        assert right <= WIDTH + 0.1
    for one, two in combinations(texts, 2):
        same_line = abs(one[2] - two[2]) < 12
        assert not same_line or one[1] <= two[0] + 0.1 or two[1] <= one[0] + 0.1, (one, two)


@given(st.lists(lanes, max_size=6), moments, st.booleans())
@settings(max_examples=200, deadline=None)
def test_everything_is_drawn_inside_and_told_in_words(
    given: list[Lane], now: datetime, over: bool
) -> None:
    drawn = drawing(given, now, over=over)
    told = drawn.findtext("desc") or ""
    titles = [each.text for each in drawn.iter("title")]
    assert len(titles) == 1 + sum(len(lane.bars) + len(lane.dots) for lane in given)
    for lane in given:
        for bar in lane.bars:
            assert f"{lane.name}: {''.join(bar.label) or 'recorded'}" in told
    for box in drawn.iter("rect"):
        assert float(box.get("x", 0)) + float(box.get("width", 0)) <= WIDTH
    for path in drawn.iter("path"):
        assert all(float(x) <= WIDTH for x in re.findall(r"M([\d.]+)", path.get("d", "")))


def test_the_hour_that_autumn_repeats_is_marked_twice_with_its_zone() -> None:
    # Summer time ends in the Union on the last Sunday of October at 01:00 UTC: Directive
    # 2000/84/EC, articles 1 and 3 (from memory). In 2026 that is 2026-10-25.
    start = datetime(2026, 10, 24, 23, 0, tzinfo=UTC)
    marks = [tick.label for tick in ticks(start, start + timedelta(hours=5), ZONE)]
    assert marks == [
        "2026-10-25 01:00 CEST",
        "02:00 CEST",
        "02:00 CET",
        "03:00 CET",
        "04:00 CET",
        "05:00 CET",
    ]


@given(moments, st.integers(1, 60 * 24 * 366 * 150))
def test_marks_go_forward_and_stay_few(start: datetime, minutes: int) -> None:
    end = start + timedelta(minutes=minutes)
    found = [tick.at for tick in ticks(start, end, ZONE)]
    assert found == sorted(set(found))
    assert all(start <= at <= end for at in found)
    assert len(found) <= 8


def test_letters_of_a_lot_carry_a_line_and_digits_none() -> None:
    assert label_svg(("lot ", "T77-0B<1")) == (
        'lot <tspan class="lot"><tspan class="letters">T</tspan>77-0'
        '<tspan class="letters">B</tspan>&lt;1</tspan>'
    )
    assert label_wide(("", "0" * 10), 10) == 10 * MONO * 10


@given(st.text(min_size=1, max_size=40), st.floats(20, 200))
def test_what_is_cut_fits_or_is_only_the_sign_that_it_was_cut(text: str, room: float) -> None:
    kept = cut(text, room, NAME)
    assert wide(kept, NAME) <= room or kept == "…"
    assert kept == text or kept.endswith("…")
