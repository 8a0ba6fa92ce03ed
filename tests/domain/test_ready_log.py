"""The log of ready circuits and the looks at them, against a count of every hour one by one."""

from datetime import UTC, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from traceability.domain.figures import FIGURES
from traceability.domain.ready_log import counted, filled, gaps, last_enough
from traceability.domain.shelf_checks import Look, due_at, last_look, not_right
from traceability.domain.spans import Span, span, without
from traceability.domain.use_by import Limit, Limits, Reason, Way, decide, opened_later

START = datetime(2031, 5, 6, tzinfo=UTC)
HOURS = 40


def hour(n: int) -> datetime:
    return START + timedelta(hours=n)


def made(start: int, length: int, *, is_open: bool = False) -> Span:
    return Span(start=hour(start), end=None if is_open else hour(start + length))


span_lists = st.lists(
    st.builds(made, st.integers(0, HOURS), st.integers(1, 12), is_open=st.booleans()), max_size=6
)


def covers(spans: list[Span] | tuple[Span, ...], n: int) -> int:
    at = hour(n)
    return sum(one.start <= at and (one.end is None or at < one.end) for one in spans)


@given(span_lists, span_lists)
def test_what_is_left_lies_in_a_span_and_in_no_hole(spans: list[Span], holes: list[Span]) -> None:
    left = without(spans, holes)
    for n in range(HOURS + 20):
        assert covers(left, n) == bool(covers(spans, n) and not covers(holes, n))


@given(span_lists)
def test_the_steps_say_how_many_run_at_each_hour(spans: list[Span]) -> None:
    steps = counted(spans)
    for n in range(HOURS + 20):
        said = next((count for at, count in reversed(steps) if at <= hour(n)), 0)
        assert said == covers(spans, n)
    assert all(a[1] != b[1] for a, b in pairwise(steps))


@given(span_lists, st.integers(1, 3))
def test_gaps_are_the_hours_with_too_few_after_enough_once_stood(
    spans: list[Span], wanted: int
) -> None:
    found = gaps(counted(spans), wanted)
    had = False
    for n in range(HOURS + 20):
        had = had or covers(spans, n) >= wanted
        assert covers(found, n) == (had and covers(spans, n) < wanted)
    since = last_enough(counted(spans), wanted)
    now = covers(spans, HOURS + 19) >= wanted
    assert (since is None) == (now or not had)


@given(span_lists, span_lists, st.integers(1, 2), st.integers(0, HOURS))
def test_two_at_one_place_fill_no_other(
    first: list[Span], second: list[Span], wanted: int, since: int
) -> None:
    steps = filled({"a": first, "b": second}, {"a": wanted, "b": 1}, hour(since))
    for n in range(since, HOURS + 20):
        said = next(count for at, count in reversed(steps) if at <= hour(n))
        assert said == min(covers(first, n), wanted) + min(covers(second, n), 1)


looks = st.lists(
    st.builds(lambda n, good: Look(at=hour(n), good=good), st.integers(0, HOURS), st.booleans()),
    max_size=8,
    unique_by=lambda look: look.at,
)


@given(looks)
def test_it_is_not_right_from_a_bad_look_to_the_next_good_one(given_looks: list[Look]) -> None:
    found = not_right(given_looks)
    for n in range(HOURS + 5):
        before = [look for look in given_looks if look.at <= hour(n)]
        last = last_look(sorted(before, key=lambda look: look.at))
        assert covers(found, n) == (last is not None and not last.good)


def test_a_look_before_it_stood_there_does_not_count_for_the_next() -> None:
    day = timedelta(hours=24)
    assert due_at(hour(0), [], day) == hour(24)
    assert due_at(hour(0), [Look(at=hour(5), good=True)], day) == hour(29)
    assert due_at(hour(10), [Look(at=hour(5), good=True)], day) == hour(34)


def test_opened_later_is_never_longer_than_before() -> None:
    """Open and wet, 5 d: Deptula et al., Perfusion 2021;36(2):130-137, abstract."""
    zone, limits = ZoneInfo("Europe/Stockholm"), Limits()
    closed = decide(hour(0), zone, Way.WET_CLOSED, False, limits, [])
    for days in (0, 10, 25, 29):
        opened = opened_later(closed.all[:2], hour(24 * days), zone, limits)
        assert opened.at == min(closed.at, hour(24 * (days + 5)))
    with pytest.raises(ValueError, match="without a limit"):
        opened_later([], hour(0), zone, limits)


@given(st.lists(st.integers(1, 900), min_size=1, max_size=5), st.integers(0, 900))
def test_the_two_earliest_limits_are_enough_to_open_one(ends: list[int], opened: int) -> None:
    zone, limits = ZoneInfo("UTC"), Limits()
    reasons = sorted(
        (Reason(code=Limit.PART_EXPIRY, at=hour(n), facts={"name": str(n)}) for n in ends),
        key=lambda reason: reason.at,
    )
    of_two = opened_later(reasons[:2], hour(opened), zone, limits)
    of_all = opened_later(reasons, hour(opened), zone, limits)
    assert (of_two.at, of_two.deciding.at) == (of_all.at, of_all.deciding.at)
    assert of_two.next is not None
    assert of_all.next is not None
    assert of_two.next.at == of_all.next.at


def test_every_limit_of_the_policy_has_its_figures_and_each_figure_its_source() -> None:
    fields = set(Limits.__slots__)
    assert {each.code for each in FIGURES} == fields
    for each in FIGURES:
        assert each.default == getattr(Limits(), each.code)
        assert each.found
        assert all(figure.says and figure.source for figure in each.found)


def test_a_span_of_nothing_is_none() -> None:
    assert span(hour(1), hour(1)) is None
