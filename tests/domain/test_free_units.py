"""What is free of a lot, against giving every use a unit of its own."""

from datetime import UTC, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from traceability.domain.free_units import Free, free_units, less_one

NOON = datetime(2031, 5, 6, 12, 0, tzinfo=UTC)
HOURS = 8

moments = st.integers(0, HOURS - 1).map(lambda hours: NOON + timedelta(hours=hours))
lines = st.lists(st.tuples(moments, st.integers(0, 3)), max_size=6)

Lines = list[tuple[datetime, int]]


def _all_served(came: Lines, used: Lines) -> bool:
    """Give every use, the earliest first, the newest unit that had come and is still there."""
    units = [at for at, number in came for _ in range(number)]
    for at in sorted(at for at, number in used for _ in range(number)):
        fitting = [unit for unit in units if unit <= at]
        if not fitting:
            return False
        units.remove(max(fitting))
    return True


def _free_at(free: Free, at: datetime) -> int:
    return sum(units for came_at, units in free.batches if came_at <= at)


@given(came=lines, used=lines)
def test_as_many_are_free_at_a_moment_as_could_still_be_taken_then(
    came: Lines, used: Lines
) -> None:
    free = free_units(came, used)
    if not any(units for _, units in came):
        assert free == Free()  # never in the book: counts against nothing
        return
    assert free.short == (not _all_served(came, used))
    assert list(free.batches) == sorted(free.batches)
    assert all(units > 0 for _, units in free.batches)
    assert len({at for at, _ in free.batches}) == len(free.batches)
    if free.short:
        return
    for hour in range(-1, HOURS):
        at = NOON + timedelta(hours=hour)
        more = _free_at(free, at)
        assert _all_served(came, [*used, (at, more)])
        assert not _all_served(came, [*used, (at, more + 1)])


@given(came=lines, used=lines, at=moments)
def test_one_more_use_leaves_what_reckoning_from_the_start_leaves(
    came: Lines, used: Lines, at: datetime
) -> None:
    before, after = free_units(came, used), free_units(came, [*used, (at, 1)])
    quick = less_one(before, at)
    if quick is None:
        assert before.short or _free_at(before, at) == 0
    else:
        assert quick == after


def test_a_unit_that_a_later_use_needs_is_not_free_before() -> None:
    later = NOON + timedelta(hours=2)
    assert free_units([(NOON, 1)], [(later, 1)]) == Free()
    more = free_units([(NOON, 1), (later, 2)], [(later, 1)])
    assert more == Free(batches=((NOON, 1), (later, 1)))
