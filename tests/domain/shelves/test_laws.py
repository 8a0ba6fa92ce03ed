"""The shelves agree with a brute-force reference, and keep their laws, on random small stories."""

from itertools import pairwise
from typing import Any

import pytest
from hypothesis import HealthCheck, assume, event, given, settings
from hypothesis import strategies as st

from tests.domain.shelves.brute_force import Reference, TooMany
from tests.domain.shelves.made_up import busy_heaters, stories, tight_stock
from tests.recall_stories import read
from traceability.cli.stories.scope import scope_of, spans

SLOW = [HealthCheck.too_slow, HealthCheck.filter_too_much, HealthCheck.data_too_large]


def by_brute_force(file: dict[str, Any]) -> dict[str, Any]:
    story = read(file)
    question = story.questions[0]
    with_stock = question["scope"]["kind"] == "lots" and len(question["scope"]["lots"]) == 1
    reference = Reference(story.at(question["as_of"]), scope_of(question["scope"]))
    found = reference.answer(with_stock=with_stock)
    for row in found["patients"].values():
        for key in ("intervals", "possible_intervals"):
            if key in row:
                row[key] = spans(row[key])
    return found


def compare(file: dict[str, Any]) -> None:
    try:
        expected = by_brute_force(file)
    except TooMany:
        assume(False)
    story = read(file)
    for row in expected["circuits"].values():
        event(row["shelf"])
    assert story.ask(story.questions[0]) == expected


KINDS = st.one_of(stories(), tight_stock(), tight_stock(), busy_heaters())


@settings(max_examples=400, deadline=None, suppress_health_check=SLOW)
@given(KINDS)
def test_the_shelves_are_those_of_every_arrangement_listed(file: dict[str, Any]) -> None:
    compare(file)


@pytest.mark.long
@settings(max_examples=20_000, deadline=None, suppress_health_check=SLOW)
@given(KINDS)
def test_the_shelves_are_those_of_every_arrangement_listed_at_length(file: dict[str, Any]) -> None:
    compare(file)


@settings(max_examples=100, deadline=None, suppress_health_check=SLOW)
@given(stories(), st.randoms(use_true_random=False))
def test_the_order_of_facts_of_different_moments_changes_nothing(
    file: dict[str, Any], random: Any
) -> None:
    apart = [
        fact | {"at": fact["at"].replace(":00Z", f":{n:02}Z")}
        for n, fact in enumerate(file["facts"])
    ]
    story = read(file | {"facts": apart})
    random.shuffle(apart)
    other = read(file | {"facts": apart})
    assert story.ask(story.questions[0]) == other.ask(story.questions[0])


@settings(max_examples=150, deadline=None, suppress_health_check=SLOW)
@given(KINDS)
def test_a_book_no_longer_trusted_never_clears_and_never_convicts(file: dict[str, Any]) -> None:
    """Fewer counts mean more arrangements: rows move towards "cannot be excluded" only."""
    trusted = read(file)
    doubted = read(file | {"stock_book_complete": {}})
    question = trusted.questions[0]
    before, after = trusted.ask(question), doubted.ask(question)
    for group in ("circuits", "patients"):
        for name, row in after[group].items():
            was = before[group][name]["shelf"]
            if was != row["shelf"]:
                assert row["shelf"] == "cannot_be_excluded"
            if row["shelf"] == "confirmed":
                assert was == "confirmed"


@settings(max_examples=150, deadline=None, suppress_health_check=SLOW)
@given(KINDS)
def test_no_time_of_exposure_runs_backwards_or_touches_the_next(file: dict[str, Any]) -> None:
    story = read(file)
    for row in story.ask(story.questions[0])["patients"].values():
        for key in ("intervals", "possible_intervals"):
            times = row.get(key, [])
            assert all(end is None or start < end for start, end in times)
            assert all(a[1] is not None and a[1] < b[0] for a, b in pairwise(times))
