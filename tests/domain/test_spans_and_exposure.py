"""Laws of spans and exposure, compared minute by minute with the plain definition."""

from datetime import UTC, datetime, timedelta
from itertools import pairwise
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from traceability.domain.exposure import Exposure, Shelf, exposed, strongest, together
from traceability.domain.spans import Span, elapsed, join, meet, overlap, span

START = datetime(2027, 3, 1, tzinfo=UTC)
LONGEST = 30


def minute(n: int) -> datetime:
    return START + timedelta(minutes=n)


SPANS = st.lists(
    st.tuples(st.integers(0, LONGEST), st.one_of(st.none(), st.integers(0, LONGEST))), max_size=6
).map(
    lambda pairs: [
        one
        for a, b in pairs
        if (one := span(minute(a), None if b is None else minute(b))) is not None
    ]
)


def minutes(spans: list[Span] | tuple[Span, ...]) -> set[int]:
    """The plain definition: which minutes lie inside some span."""
    return {
        n
        for n in range(LONGEST + 5)
        if any(s.start <= minute(n) and (s.end is None or minute(n) < s.end) for s in spans)
    }


@given(SPANS, SPANS)
def test_exposure_is_the_time_of_both(part: list[Span], patient: list[Span]) -> None:
    assert minutes(exposed(part, patient)) == minutes(part) & minutes(patient)
    assert exposed(part, patient) == exposed(patient, part)


@given(SPANS, st.randoms(use_true_random=False))
def test_joined_spans_are_the_same_time_apart_and_in_order(
    spans: list[Span], random: Random
) -> None:
    joined = join(spans)
    assert minutes(joined) == minutes(spans)
    assert all(a.end is not None and a.end < b.start for a, b in pairwise(joined))
    random.shuffle(spans)
    assert join(spans) == joined == join(joined)


@given(SPANS)
def test_the_time_passed_is_what_the_minutes_count(spans: list[Span]) -> None:
    counted = len([n for n in minutes(spans) if n < LONGEST])
    assert elapsed(spans, until=minute(LONGEST)) == timedelta(minutes=counted)


def test_in_and_out_in_the_same_minute_was_never_there() -> None:
    assert span(START, START) is None
    assert overlap(Span(start=START, end=minute(5)), Span(start=minute(5))) is None


@pytest.mark.parametrize("end", [START, START - timedelta(minutes=1), START.replace(tzinfo=None)])
def test_a_span_backwards_or_without_zone_is_refused(end: datetime) -> None:
    with pytest.raises(ValueError, match="span"):
        Span(start=START, end=end)


@given(st.lists(st.tuples(SPANS, SPANS), max_size=4))
def test_what_is_sure_is_always_possible(rows: list[tuple[list[Span], list[Span]]]) -> None:
    whole = together(Exposure(sure=join(a), possible=join(b)) for a, b in rows)
    assert meet(whole.sure, whole.possible) == whole.sure
    assert whole.longer_possible == (minutes(whole.sure) != minutes(whole.possible))


def test_of_several_shelves_the_strongest_counts_and_none_is_excluded() -> None:
    assert strongest(reversed(Shelf)) is Shelf.CONFIRMED
    assert strongest([Shelf.EXCLUDED, Shelf.CANNOT_BE_EXCLUDED]) is Shelf.CANNOT_BE_EXCLUDED
    assert strongest([]) is Shelf.EXCLUDED
