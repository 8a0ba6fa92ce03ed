"""What a notice asks for, laid out as clauses: tests that all must hold, each in its own window."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime
from enum import StrEnum
from typing import ClassVar, Final

from traceability.domain.spans import Span

__all__ = ["OF_DELIVERY", "OF_LOT", "Asked", "Clause", "Test", "any_of", "within"]


class Asked(StrEnum):
    """The kind of test a clause makes."""

    LOTS = "lots"
    LOT_RANGE = "lot-range"
    SERIALS = "serials"
    """A range; without ends every unit is in it."""
    SERIAL_LIST = "serial-list"
    MADE = "made"
    EXPIRES = "expires"
    SHIPPED = "shipped"
    RECEIVED = "received"
    SUPPLIER = "supplier"


OF_LOT: Final = frozenset(Asked) - {Asked.SERIALS, Asked.SERIAL_LIST}
"""Tests of what a lot is, so that nothing can be said of a part whose lot is not known."""
OF_DELIVERY: Final = frozenset({Asked.SHIPPED, Asked.RECEIVED, Asked.SUPPLIER})
"""Tests of the deliveries that were here before the part went in."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Test:
    """One thing that is asked of a unit."""

    __test__: ClassVar[bool] = False
    """No test of this program."""
    asked: Asked
    texts: tuple[str, ...] = ()
    """Lots, serials or suppliers."""
    first: str | None = None
    """Lower end of a range of texts; None: open."""
    last: str | None = None
    first_day: date | None = None
    last_day: date | None = None
    """Both days are included."""
    negated: bool = False
    """It must not hold: an exception."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Clause:
    """One statement of a notice: units of one maker's items for which all its tests hold."""

    maker: str
    items: tuple[str, ...]
    tests: tuple[Test, ...] = ()
    """None: every unit."""
    since: datetime | None = None
    """Start of the window of use, aware; None: no start."""
    until: datetime | None = None
    """First moment past the window of use, aware; None: no end."""

    def asks(self, kinds: Collection[Asked]) -> bool:
        """Return whether one of the tests is of these kinds."""
        return any(test.asked in kinds for test in self.tests)

    def cut(self, time: Span | None) -> Span | None:
        """Return the part of a time that lies in the window, or None."""
        if time is None:
            return None
        start = time.start if self.since is None else max(time.start, self.since)
        ends = [end for end in (time.end, self.until) if end is not None]
        end = min(ends, default=None)
        return None if end is not None and end <= start else Span(start=start, end=end)


def within(
    clauses: Iterable[Clause], since: datetime | None, until: datetime | None
) -> tuple[Clause, ...]:
    """Return the clauses cut by a window around all of them."""
    return tuple(
        replace(
            clause,
            since=max((t for t in (clause.since, since) if t is not None), default=None),
            until=min((t for t in (clause.until, until) if t is not None), default=None),
        )
        for clause in clauses
    )


def any_of(*scopes: Iterable[Clause]) -> tuple[Clause, ...]:
    """Return the clauses of several scopes as one scope."""
    return tuple(clause for scope in scopes for clause in scope)
