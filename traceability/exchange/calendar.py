"""A calendar feed as RFC 5545 (iCalendar, September 2009) writes it: few lines, all in UTC.

What is used of it: content lines end in CRLF and are folded at 75 octets (3.1), text is escaped
(3.3.11), a date with time in UTC ends in Z (3.3.5, form 2), a calendar names VERSION and PRODID
(3.7.3, 3.7.4), an event names UID, DTSTAMP and DTSTART (3.6.1). NAME and REFRESH-INTERVAL are those
of RFC 7986 (5.1, 5.7). No METHOD: a feed is read, not sent, and a published event would need an
organizer (RFC 5546, 3.2.1). Sections from memory, but for what the tests spell out.
"""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Final

__all__ = ["CalendarDate", "calendar"]

OCTETS: Final = 75
"""Of one line, its end not counted (RFC 5545, 3.1)."""
PRODUCT: Final = "-//Circuit Traceability//Shelf//EN"
_CONTROLS: Final = re.compile(r"[\x00-\x08\x0b-\x1f\x7f\ud800-\udfff]")


@dataclass(frozen=True, slots=True, kw_only=True)
class CalendarDate:
    """One moment that a calendar shows."""

    key: str
    """Unlike that of any other date, and the same when its moment or words change."""
    at: datetime
    """Aware."""
    summary: str
    description: str = ""
    lasts: timedelta = timedelta(minutes=30)
    """A moment without length is hidden by many calendars."""


def calendar(name: str, dates: Iterable[CalendarDate], *, stamp: datetime, domain: str) -> str:
    """Return the calendar as text, lines ended by CRLF.

    Args:
        name: what a subscriber's list shows.
        dates: what it holds; in the order given.
        stamp: when this was made, aware.
        domain: right side of each UID (RFC 7986, 5.3: nothing of a person or a host in it).
    """
    lines = [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        f"PRODID:{PRODUCT}",
        "CALSCALE:GREGORIAN",
        f"NAME:{_text(name)}",
        f"X-WR-CALNAME:{_text(name)}",
        "REFRESH-INTERVAL;VALUE=DURATION:PT15M",
        *(line for date in dates for line in _event(date, stamp, domain)),
        "END:VCALENDAR",
    ]
    return "".join(f"{_folded(line)}\r\n" for line in lines)


def _event(date: CalendarDate, stamp: datetime, domain: str) -> Iterator[str]:
    yield "BEGIN:VEVENT"
    yield f"UID:{_text(date.key)}@{domain}"
    yield f"DTSTAMP:{_moment(stamp)}"
    yield f"DTSTART:{_moment(date.at)}"
    yield f"DTEND:{_moment(date.at + date.lasts)}"
    yield f"SUMMARY:{_text(date.summary)}"
    if date.description:
        yield f"DESCRIPTION:{_text(date.description)}"
    yield "TRANSP:TRANSPARENT"
    yield "END:VEVENT"


def _moment(at: datetime) -> str:
    return f"{at.astimezone(UTC):%Y%m%dT%H%M%SZ}"


def _text(value: str) -> str:
    """Escape backslash, semicolon, comma and line break; drop what no text may hold (3.3.11)."""
    plain = _CONTROLS.sub("", value.replace("\r\n", "\n").replace("\r", "\n"))
    for mark in ("\\", ";", ","):
        plain = plain.replace(mark, f"\\{mark}")
    return plain.replace("\n", "\\n")


def _folded(line: str) -> str:
    """Break a line into pieces of at most 75 octets; no letter of several octets is broken."""
    pieces, room, piece = [], OCTETS, ""
    for letter in line:
        octets = len(letter.encode())
        if octets > room:
            pieces.append(piece)
            piece, room = "", OCTETS - 1  # each further line begins with a space
        piece += letter
        room -= octets
    return "\r\n ".join([*pieces, piece])
