"""Laws of stock, of the weeks ahead, and of due days."""

from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from traceability.domain.deadlines import Rule, Start, Unit, WorkCalendar, due, work_days_left
from traceability.domain.stock import (
    Fitness,
    ShelfLot,
    fitness,
    full_primes,
    in_order_of_use,
    to_order,
    usable,
)
from traceability.domain.stock_ahead import ahead, lacking_ahead, rate_of

ZONE = ZoneInfo("Europe/Stockholm")
NOW = datetime(2027, 5, 3, 8, tzinfo=UTC)
PRODUCTS = ["pack", "tap"]
COUNTS = st.dictionaries(st.sampled_from(PRODUCTS), st.integers(-5, 60))
NEEDS = st.dictionaries(st.sampled_from(PRODUCTS), st.integers(1, 6), min_size=1)
LOTS = st.lists(
    st.builds(
        ShelfLot,
        product=st.sampled_from(PRODUCTS),
        lot=st.sampled_from(["A", "B", None]),
        quantity=st.integers(-3, 20),
        expiry=st.one_of(st.none(), st.dates(date(2027, 4, 1), date(2027, 8, 1))),
        on_hold=st.booleans(),
    ),
    max_size=6,
)


@given(COUNTS, NEEDS)
def test_the_stock_serves_the_primes_and_not_one_more(
    stock: dict[str, int], needs: dict[str, int]
) -> None:
    found = full_primes(stock, needs)
    assert all(need * found.count <= max(stock.get(p, 0), 0) for p, need in needs.items())
    short = {p for p, need in needs.items() if need * (found.count + 1) > stock.get(p, 0)}
    assert set(found.limiting) == short != set()


@given(COUNTS, NEEDS, st.integers(1, 9))
def test_what_is_ordered_is_just_enough(
    stock: dict[str, int], needs: dict[str, int], primes: int
) -> None:
    order = to_order(stock, needs, primes)
    filled = {p: stock.get(p, 0) + order.get(p, 0) for p in needs}
    assert full_primes(filled, needs).count >= primes
    for product in order:
        assert full_primes(filled | {product: filled[product] - 1}, needs).count < primes


@given(LOTS)
def test_the_first_to_expire_goes_first_and_nothing_unfit_goes_at_all(lots: list[ShelfLot]) -> None:
    planned = NOW + timedelta(days=30)
    row = in_order_of_use(lots, at=NOW, zone=ZONE, planned_use_by=planned)
    fits = {fitness(lot, at=NOW, zone=ZONE, planned_use_by=planned) for lot in row}
    assert fits <= {Fitness.USABLE}
    dates = [lot.expiry or date.max for lot in row]
    assert dates == sorted(dates)


@pytest.mark.parametrize(
    ("expiry", "planned_days", "expected"),
    [
        (date(2027, 5, 2), None, Fitness.EXPIRED),
        (date(2027, 5, 3), None, Fitness.USABLE),
        (date(2027, 6, 1), 30, Fitness.TOO_SHORT),
        (date(2027, 6, 2), 30, Fitness.USABLE),
    ],
)
def test_a_part_has_to_outlive_the_planned_use_by(
    expiry: date, planned_days: int | None, expected: Fitness
) -> None:
    lot = ShelfLot(product="tap", lot="A", quantity=1, expiry=expiry)
    planned = None if planned_days is None else NOW + timedelta(days=planned_days)
    assert fitness(lot, at=NOW, zone=ZONE, planned_use_by=planned) is expected


def test_a_lot_below_zero_takes_from_its_product_and_stops_no_prime() -> None:
    lots = [
        ShelfLot(product="tap", lot="A", quantity=-2, expiry=None),
        ShelfLot(product="tap", lot="B", quantity=6, expiry=None),
    ]
    assert usable(lots, at=NOW, zone=ZONE) == {"tap": 4}


@given(LOTS, NEEDS, st.floats(0, 4))
def test_the_weeks_ahead_use_only_what_is_there(
    lots: list[ShelfLot], needs: dict[str, int], rate: float
) -> None:
    weeks = ahead(lots, needs, primes_a_week=rate, stored_days=30, start=NOW, zone=ZONE)
    made = sum(week.made for week in weeks)
    have = {p: sum(max(o.quantity, 0) for o in lots if o.product == p) for p in needs}
    assert all(need * made <= have[p] for p, need in needs.items())
    assert all(week.made <= min(week.wanted, week.possible.count) for week in weeks)
    assert sum(week.wanted for week in weeks) == int(rate * len(weeks) + 1e-9)


@given(LOTS, NEEDS, st.floats(0, 4))
def test_with_what_is_lacking_no_prime_of_the_weeks_ahead_is_skipped(
    lots: list[ShelfLot], needs: dict[str, int], rate: float
) -> None:
    plan: dict[str, Any] = {"primes_a_week": rate, "stored_days": 30, "start": NOW, "zone": ZONE}
    lacking = lacking_ahead(lots, needs, **plan)
    ordered = [ShelfLot(product=p, lot="new", quantity=n, expiry=None) for p, n in lacking.items()]
    assert lacking_ahead([*lots, *ordered], needs, **plan) == {}
    assert all(week.made == week.wanted for week in ahead([*lots, *ordered], needs, **plan))
    for product, units in lacking.items():
        one_less = [
            ShelfLot(product=p, lot="new", quantity=n - (p == product), expiry=None)
            for p, n in lacking.items()
        ]
        assert lacking_ahead([*lots, *one_less], needs, **plan) == {product: 1}, units


@given(COUNTS, NEEDS, st.integers(0, 5))
def test_where_nothing_expires_it_is_what_that_many_primes_lack(
    stock: dict[str, int], needs: dict[str, int], a_week: int
) -> None:
    lots = [ShelfLot(product=p, lot="A", quantity=n, expiry=None) for p, n in stock.items()]
    found = lacking_ahead(
        lots, needs, primes_a_week=a_week, stored_days=30, start=NOW, zone=ZONE, weeks=4
    )
    assert found == to_order(stock, needs, 4 * a_week)


@pytest.mark.parametrize(
    ("primes", "first_days_ago", "a_week"),
    [(12, 300, 1), (12, 84, 1), (3, 21, 1), (2, 1, 2), (0, 84, 0)],
)
def test_a_rate_is_reckoned_over_twelve_weeks_or_since_the_first_prime(
    primes: int, first_days_ago: float, a_week: float
) -> None:
    """Worked out by hand; common practice, no source."""
    assert rate_of(primes, first_days_ago).a_week == a_week


def test_a_need_of_nothing_answers_no_question() -> None:
    with pytest.raises(ValueError, match="at least one"):
        full_primes({"tap": 5}, {})


DAYS = st.dates(date(2026, 1, 1), date(2029, 1, 1))
CALENDARS = st.builds(
    WorkCalendar,
    holidays=st.frozensets(DAYS, max_size=30),
    days_off=st.frozensets(st.integers(0, 6), max_size=6),
)


@given(DAYS, st.integers(1, 20), CALENDARS, st.sampled_from(Start))
def test_the_due_day_is_a_work_day_with_the_right_number_of_them_up_to_it(
    aware: date, days: int, calendar: WorkCalendar, start: Start
) -> None:
    rule = Rule(code="own", days=days, unit=Unit.WORK_DAYS, start=start)
    found = due(aware, rule, calendar)
    first = 1 if start is Start.DAY_AFTER else 0
    counted = [aware + timedelta(days=n) for n in range(first, (found - aware).days + 1)]
    assert sum(calendar.is_work_day(day) for day in counted) == days
    assert calendar.is_work_day(found)
    if start is Start.DAY_AFTER:
        assert work_days_left(aware, found, calendar) == days


def test_a_week_without_work_is_no_calendar() -> None:
    with pytest.raises(ValueError, match="working weekday"):
        WorkCalendar(days_off=frozenset(range(7)))
