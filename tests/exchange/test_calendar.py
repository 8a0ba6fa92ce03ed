"""The calendar feed, read back by rules of RFC 5545 (September 2009) that are written anew here.

No reader of calendars is installed, so this one is: unfold (3.1), split name, parameters and value
(3.1), undo the escapes of texts (3.3.11).
"""

import re
from datetime import UTC, datetime, timedelta
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from traceability.exchange.calendar import CalendarDate, calendar

MINUTE = timedelta(minutes=1)
AT = datetime(2031, 6, 5, 12, 0, tzinfo=UTC)
ONCE_AN_EVENT = {"UID", "DTSTAMP", "DTSTART", "DTEND", "SUMMARY"}
NOT_IN_A_TEXT = re.compile(r"[\x00-\x08\x0b-\x1f\x7f]")
"""CONTROL of 3.1: all controls but HTAB; a line break arrives as an escape."""


def read(text: str) -> list[Any]:
    """Return properties and components of an iCalendar stream, nested as they stand."""
    assert text.endswith("\r\n")
    assert "\n" not in text.replace("\r\n", "")
    unfolded = text.replace("\r\n ", "").removesuffix("\r\n").split("\r\n")
    stack: list[list[Any]] = [[]]
    for line in unfolded:
        found = re.fullmatch(r"([A-Z-]+)((?:;[A-Z-]+=[^:;]+)*):(.*)", line, re.S)
        assert found, line
        name, value = found[1], found[3]
        assert not NOT_IN_A_TEXT.search(value)
        if name == "BEGIN":
            stack.append([value])
        elif name == "END":
            closed = stack.pop()
            assert closed[0] == value
            stack[-1].append(closed)
        else:
            stack[-1].append((name, value))
    assert len(stack) == 1
    return stack[0]


def plain(value: str) -> str:
    """Undo the escapes of a text: nothing else may follow a backslash (3.3.11)."""
    assert re.fullmatch(r"(?:[^\\;,]|\\[\\;,nN])*", value, re.S), value
    return re.sub(r"\\(.)", lambda m: "\n" if m[1] in "nN" else m[1], value, flags=re.S)


def events(text: str) -> list[dict[str, str]]:
    (whole,) = read(text)
    assert whole[0] == "VCALENDAR"
    return [dict(each[1:]) for each in whole if isinstance(each, list)]


moments = st.integers(0, 60_000_000).map(lambda n: datetime(1970, 1, 1, tzinfo=UTC) + n * MINUTE)
texts = st.text(max_size=300) | st.text('a;,\\\n\r:" å中🫀', max_size=300)


@given(texts, texts, moments)
def test_whatever_is_said_comes_back_as_it_was(summary: str, more: str, at: datetime) -> None:
    date = CalendarDate(key="use-by-1", at=at, summary=summary, description=more)
    made = calendar("Shelf", [date], stamp=AT, domain="abcd.invalid")
    assert all(len(line.encode()) <= 75 for line in made.split("\r\n"))
    (event,) = events(made)
    lines = summary.replace("\r\n", "\n").replace("\r", "\n")
    kept = re.sub(r"[\x00-\x08\x0b-\x1f\x7f]", "", lines)
    assert plain(event["SUMMARY"]) == kept
    assert event["DTSTART"] == at.strftime("%Y%m%dT%H%M%SZ")
    assert ("DESCRIPTION" in event) == bool(more)


def test_a_calendar_says_what_the_standard_asks_of_one() -> None:
    """VERSION and PRODID once (3.6); UID and DTSTAMP in each event, no UID twice (3.6.1)."""
    dates = [
        CalendarDate(key=f"look-{n}", at=AT + timedelta(hours=n), summary="Look") for n in range(3)
    ]
    (whole,) = read(calendar("A; B, C", dates, stamp=AT, domain="abcd.invalid"))
    heads = [each for each in whole[1:] if isinstance(each, tuple)]
    names = [name for name, _ in heads]
    assert (names.count("VERSION"), names.count("PRODID")) == (1, 1)
    said: dict[str, str] = dict(heads)
    assert said["VERSION"] == "2.0"
    assert plain(said["NAME"]) == "A; B, C"
    found = [each for each in whole if isinstance(each, list)]
    assert all({name for name, _ in each[1:]} >= ONCE_AN_EVENT for each in found)
    assert len({dict(each[1:])["UID"] for each in found}) == 3
    assert {dict(each[1:])["DTSTAMP"] for each in found} == {"20310605T120000Z"}


def test_a_moment_in_another_zone_is_written_in_utc() -> None:
    at = datetime.fromisoformat("2031-06-05T14:00:00+02:00")
    (event,) = events(
        calendar("S", [CalendarDate(key="k", at=at, summary="s")], stamp=AT, domain="d.invalid")
    )
    assert (event["DTSTART"], event["DTEND"]) == ("20310605T120000Z", "20310605T123000Z")


def test_a_long_line_is_folded_between_letters_never_inside_one() -> None:
    made = calendar(
        "S", [CalendarDate(key="k", at=AT, summary="å" * 200)], stamp=AT, domain="d.invalid"
    )
    pieces = made.encode().split(b"\r\n")
    assert all(piece.decode() is not None for piece in pieces)
    assert max(len(piece) for piece in pieces) <= 75
    assert plain(events(made)[0]["SUMMARY"]) == "å" * 200
