"""How an entry stands in a list: late ones are flagged, corrected times are told."""

from datetime import UTC, datetime, timedelta

import pytest

from traceability.reads.happenings import Happening
from traceability.web.happened import shown

AT = datetime(2031, 5, 6, 12, tzinfo=UTC)


def happening(late: timedelta, **body: object) -> Happening:
    return Happening(
        number=7,
        at=AT,
        recorded_at=AT + late,
        kind="flow-on",
        body=body,  # type: ignore[arg-type]
        who="E. Lind",
        device="Phone 4",
    )


@pytest.mark.parametrize(
    ("late", "is_said", "is_flagged"),
    [
        (timedelta(minutes=5), False, False),
        (timedelta(hours=2), True, False),
        # More than 24 h late is shown as late (trade.md c.10; common practice, no source).
        (timedelta(hours=24), True, False),
        (timedelta(hours=24, seconds=1), True, True),
    ],
)
def test_an_entry_more_than_a_day_late_is_flagged(
    late: timedelta, is_said: bool, is_flagged: bool
) -> None:
    told = shown(happening(late))
    assert (told["late"] is not None, told["very_late"]) == (is_said, is_flagged)


def test_a_corrected_time_is_told_from_and_to() -> None:
    old, new = AT - timedelta(hours=1), AT - timedelta(hours=2)
    body = {"old": {"at": old.isoformat()}, "changes": {"at": new.isoformat()}}
    told = shown(happening(timedelta(0), **body))
    assert (told["from"], told["to"]) == (old, new)


def test_circuits_of_a_list_are_named() -> None:
    told = shown(happening(timedelta(0), circuit="a"), {"a": "C-0007"})
    assert told["circuit"] == "C-0007"
