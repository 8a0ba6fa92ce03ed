"""What differs between two answers, as laws; rows come back from the record as they went in.

Source of the kinds of change: trade practice settled in review; common practice, no source.
"""

import json
from datetime import UTC, datetime, timedelta
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from traceability.domain.circuits import Phase
from traceability.domain.exposure import Shelf
from traceability.domain.known_rows import (
    Because,
    Change,
    Key,
    KnownRow,
    Subject,
    because,
    differences,
    key_of,
    read_row,
    row_body,
)
from traceability.domain.notice_tasks import (
    ENDS,
    TaskKind,
    kinds_for,
    may_do,
    proposals,
    task_key,
)
from traceability.domain.people import RIGHTS, Role
from traceability.domain.spans import Span, join

NOON = datetime(2031, 5, 6, 12, tzinfo=UTC)
IDS = st.integers(1, 9).map(lambda number: UUID(int=number))
KEYS = st.one_of(
    st.builds(
        lambda subject, one: Key(subject=subject, ids=(one,)).text,
        st.sampled_from([s for s in Subject if s is not Subject.STOCK]),
        IDS,
    ),
    st.builds(
        lambda *ids: Key(subject=Subject.STOCK, ids=ids).text,
        IDS,
        st.none() | IDS,
        st.none() | IDS,
    ),
)
SPANS = st.lists(
    st.builds(
        lambda start, length: Span(
            start=NOON + timedelta(hours=start),
            end=length and NOON + timedelta(hours=start + length),
        ),
        st.integers(0, 99),
        st.none() | st.integers(1, 50),
    ),
    max_size=2,
).map(join)
ROWS = st.builds(
    KnownRow,
    key=KEYS,
    shelf=st.sampled_from(Shelf),
    reasons=st.lists(st.sampled_from(["lot_not_recorded", "same_place"]), max_size=2).map(tuple),
    sure=SPANS,
    possible=SPANS,
    quantity=st.none() | st.integers(-3, 30),
    going_on=st.booleans(),
    runs=st.lists(IDS, max_size=2).map(tuple),
    circuits=st.lists(IDS, max_size=2).map(tuple),
    lots=st.lists(st.text(max_size=9), max_size=2).map(tuple),
)
ANSWERS = st.lists(ROWS, max_size=8, unique_by=lambda row: row.key)


@given(ROWS)
def test_a_row_comes_back_from_the_record_as_it_went_in(row: KnownRow) -> None:
    assert read_row(json.loads(json.dumps(row_body(row)))) == row
    assert key_of(row.key).text == row.key


@given(ANSWERS)
def test_nothing_changes_against_itself(rows: list[KnownRow]) -> None:
    assert differences(rows, rows[::-1]) == ()


@given(ANSWERS, ANSWERS)
def test_what_is_new_one_way_is_gone_the_other_way(
    before: list[KnownRow], after: list[KnownRow]
) -> None:
    there, back = differences(before, after), differences(after, before)
    turned = {Change.NEW: Change.GONE, Change.GONE: Change.NEW}
    assert {(each.key, turned.get(each.change, each.change)) for each in there} == {
        (each.key, each.change) for each in back
    }


@given(ANSWERS, ANSWERS)
def test_the_old_answer_with_its_changes_is_the_new_one(
    before: list[KnownRow], after: list[KnownRow]
) -> None:
    """All that is answered, that is: shelf, times and number; reasons alone are no change."""
    rows = {row.key: row for row in before}
    for each in differences(before, after):
        if each.after is None:
            del rows[each.key]
        else:
            rows[each.key] = each.after
    assert {_said(row) for row in rows.values()} == {_said(row) for row in after}


def _said(row: KnownRow) -> tuple[object, ...]:
    return (row.key, row.shelf, row.sure, row.possible, row.quantity)


@given(ANSWERS, ANSWERS)
def test_each_row_is_told_once_and_new_ones_first(
    before: list[KnownRow], after: list[KnownRow]
) -> None:
    found = differences(before, after)
    assert len({each.key for each in found}) == len(found)
    order = [list(Change).index(each.change) for each in found]
    assert order == sorted(order)
    assert found == differences(before[::-1], after[::-1]), "the order given changes nothing"


@pytest.mark.parametrize(
    ("versions", "entries", "why"),
    [
        ((1, 2), (), Because.AMENDMENT),
        ((1, 1), (41,), Because.ENTRIES),
        ((1, 2), (41,), Because.BOTH),
        ((2, 2), (), Because.ELSEWHERE),
    ],
)
def test_a_change_says_why(
    versions: tuple[int, int], entries: tuple[int, ...], why: Because
) -> None:
    assert because(versions, entries) is why


@given(ANSWERS, st.dictionaries(IDS, st.sampled_from(Phase)))
def test_every_row_that_is_not_excluded_has_exactly_one_task_that_can_end(
    rows: list[KnownRow], phases: dict[UUID, Phase]
) -> None:
    asked = proposals(rows, phases)
    assert [each.key for each in asked] == [
        row.key for row in rows if row.shelf is not Shelf.EXCLUDED
    ]
    for each in asked:
        assert each.kind in kinds_for(key_of(each.key).subject)
        assert ENDS[each.kind]
    notice = UUID(int=77)
    ids = {task_key(notice, each.key, each.kind) for each in asked}
    assert len(ids) == len(asked)


@pytest.mark.parametrize("kind", TaskKind)
def test_every_task_can_be_ended_by_somebody_and_never_by_everybody(kind: TaskKind) -> None:
    able = {role for role in Role if may_do(kind, RIGHTS[role])}
    assert able
    assert able != set(Role)
    assert Role.ADMINISTRATOR not in able
