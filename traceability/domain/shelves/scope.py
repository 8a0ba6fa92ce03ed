"""What a notice asks for, laid out as clauses: one kind of test, each with its own window."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime
from enum import StrEnum

from traceability.domain.spans import Span

__all__ = ["Asked", "Clause", "any_of", "within"]


class Asked(StrEnum):
    """The kind of test a clause makes."""

    LOTS = "lots"
    SERIALS = "serials"
    MADE = "made"
    SHIPPED = "shipped"
    MODELS = "models"


@dataclass(frozen=True, slots=True, kw_only=True)
class Clause:
    """One statement of a notice: units of one maker's items for which one test holds."""

    asked: Asked
    maker: str
    items: tuple[str, ...]
    """Several for models only."""
    lots: tuple[str, ...] = ()
    first_serial: str | None = None
    """None: from the lowest."""
    last_serial: str | None = None
    """None: to the highest."""
    first_day: date | None = None
    last_day: date | None = None
    """Both days are included."""
    since: datetime | None = None
    """Start of the window of use, aware; None: no start."""
    until: datetime | None = None
    """First moment past the window of use, aware; None: no end."""

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
