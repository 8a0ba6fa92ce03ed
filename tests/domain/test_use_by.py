"""Laws of use-by and day arithmetic; single values stand in tests/data/trade_values.json."""

from datetime import UTC, date, datetime, timedelta
from random import Random
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from traceability.domain.days import days_later, end_of_day, last_day_of_month, moment
from traceability.domain.use_by import Limit, Limits, PartExpiry, Way, decide, is_usable

ZONES = st.sampled_from(
    [
        ZoneInfo(name)
        for name in (
            "Europe/Stockholm",
            "Australia/Lord_Howe",  # half an hour of summer time
            "America/Havana",  # midnight happens twice
            "America/Sao_Paulo",  # midnight was jumped over
            "Africa/Casablanca",  # clocks go back for a month
            "Asia/Kathmandu",
            "Pacific/Apia",  # a whole day was left out in 2011
            "UTC",
        )
    ]
)
MOMENTS = st.integers(0, 25 * 365 * 24 * 60).map(
    lambda n: datetime(2005, 1, 1, tzinfo=UTC) + timedelta(minutes=n)
)
EXPIRIES = st.lists(
    st.builds(
        PartExpiry,
        name=st.sampled_from(["Tap", "Saline"]),
        lot=st.sampled_from(["A", "B", None]),
        expiry=st.dates(date(2005, 1, 1), date(2031, 1, 1)),
        day_given=st.booleans(),
    ),
    max_size=6,
)
LIMITS = st.builds(
    Limits,
    wet_closed_days=st.integers(1, 90),
    dry_days=st.integers(1, 90),
    wet_open_days=st.integers(1, 9),
    blood_hours=st.integers(1, 48),
    opened_fluid_hours=st.one_of(st.none(), st.integers(1, 48)),
)


@given(MOMENTS, ZONES, st.sampled_from(Way), st.booleans(), LIMITS, EXPIRIES)
def test_the_deciding_limit_is_the_least_and_no_limit_is_passed(
    end: datetime,
    zone: ZoneInfo,
    way: Way,
    blood: bool,
    limits: Limits,
    expiries: list[PartExpiry],
) -> None:
    found = decide(end, zone, way, blood, limits, expiries)
    assert found.at == found.deciding.at == min(reason.at for reason in found.all)
    assert all(found.at <= end_of_day(part.expiry, zone) for part in expiries)
    assert found.at <= days_later(end, limits.days(way), zone)
    assert not blood or found.at <= end + timedelta(hours=limits.blood_hours)
    assert found.next is None or found.next.at >= found.at
    assert is_usable(found.at, found.at - timedelta(seconds=1))
    assert not is_usable(found.at, found.at)


@given(MOMENTS, ZONES, LIMITS, EXPIRIES, st.randoms(use_true_random=False))
def test_the_order_of_parts_changes_nothing(
    end: datetime, zone: ZoneInfo, limits: Limits, expiries: list[PartExpiry], random: Random
) -> None:
    first = decide(end, zone, Way.WET_CLOSED, True, limits, expiries)
    random.shuffle(expiries)
    assert decide(end, zone, Way.WET_CLOSED, True, limits, expiries) == first


def test_without_the_setting_a_part_used_inside_its_date_no_longer_limits() -> None:
    zone = ZoneInfo("Europe/Stockholm")
    end = datetime(2027, 5, 3, 8, tzinfo=UTC)
    tap = PartExpiry(name="Tap", lot="A", expiry=date(2027, 5, 10))
    strict = decide(end, zone, Way.WET_CLOSED, False, Limits(), [tap])
    milder = decide(end, zone, Way.WET_CLOSED, False, Limits(parts_expiry_counts=False), [tap])
    assert (strict.deciding.code, strict.deciding.facts["expiry"]) == (
        Limit.PART_EXPIRY,
        "2027-05-10",
    )
    assert strict.next is not None
    assert strict.next.code is Limit.POLICY_WET_CLOSED
    assert (milder.deciding.code, milder.next) == (Limit.POLICY_WET_CLOSED, None)


@given(MOMENTS.map(lambda at: at.replace(tzinfo=None, microsecond=0)), ZONES)
def test_a_wall_time_becomes_its_first_moment_or_that_of_the_jump(
    wall: datetime, zone: ZoneInfo
) -> None:
    at = moment(wall, zone)
    shown = at.astimezone(zone).replace(tzinfo=None)
    if shown == wall:
        earlier = (at - timedelta(hours=h / 2) for h in range(1, 7))
        assert wall not in [one.astimezone(zone).replace(tzinfo=None) for one in earlier]
    else:
        just_before = (at - timedelta(seconds=1)).astimezone(zone).replace(tzinfo=None)
        assert just_before < wall < shown


@pytest.mark.parametrize(
    ("wall", "zone", "expected"),
    [
        # tz database: clocks in Sweden go back at 01:00 UTC on 31 October 2027
        ("2027-10-31T02:30", "Europe/Stockholm", "2027-10-31T00:30"),
        # tz database: Brazil's last summer time began at midnight of 4 November 2018
        ("2018-11-04T00:00", "America/Sao_Paulo", "2018-11-04T03:00"),
        # tz database: Samoa left out 30 December 2011
        ("2011-12-30T12:00", "Pacific/Apia", "2011-12-30T10:00"),
    ],
)
def test_clock_changes_of_the_past_and_to_come(wall: str, zone: str, expected: str) -> None:
    found = moment(datetime.fromisoformat(wall), ZoneInfo(zone))
    assert found == datetime.fromisoformat(expected).replace(tzinfo=UTC)


@pytest.mark.parametrize(("month", "last"), [("2028-02", 29), ("2100-02", 28), ("2027-12", 31)])
def test_a_month_without_a_day_ends_on_its_last(month: str, last: int) -> None:
    year, number = (int(text) for text in month.split("-"))
    assert last_day_of_month(year, number) == date(year, number, last)


@pytest.mark.parametrize("wrong", [{"dry_days": 0}, {"blood_hours": -1}, {"opened_fluid_hours": 0}])
def test_a_limit_of_nothing_is_no_limit(wrong: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match="more than zero"):
        Limits(**wrong)
