"""Half-open spans of time: what overlaps, what touches, what is left.

A span is `[start, end)` in aware UTC; `end` None means "not ended as far as is known". Two spans
that touch (one ends in the minute the other starts) do not overlap: a swap in one minute exposes
nobody twice. Source: common practice, no source (interval rules of the service's own design).
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

__all__ = ["Span", "cut", "elapsed", "join", "meet", "overlap", "span", "without"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A stretch of time that is never empty and never runs backwards."""

    start: datetime
    """Aware; first moment that belongs to the span."""
    end: datetime | None = None
    """Aware; first moment that no longer belongs to it. None: still going on."""

    def __post_init__(self) -> None:
        """Refuse what is no span. Raises ValueError for naive times or an end not after start."""
        if self.start.tzinfo is None or (self.end is not None and self.end.tzinfo is None):
            msg = "a span needs aware times"
            raise ValueError(msg)
        if self.end is not None and self.end <= self.start:
            msg = f"a span must end after it starts: {self.start} .. {self.end}"
            raise ValueError(msg)


def span(start: datetime, end: datetime | None) -> Span | None:
    """Return the span, or None where nothing lies between (in and out in the same minute)."""
    return None if end is not None and end <= start else Span(start=start, end=end)


def _earlier(a: datetime | None, b: datetime | None) -> datetime | None:
    """Return the earlier of two ends, None being never."""
    if a is None or b is None:
        return a if b is None else b
    return min(a, b)


def overlap(a: Span, b: Span) -> Span | None:
    """Return the time that lies in both, or None."""
    return span(max(a.start, b.start), _earlier(a.end, b.end))


def join(spans: Iterable[Span]) -> tuple[Span, ...]:
    """Return the same time as the fewest spans, in order; touching spans become one."""
    joined: list[Span] = []
    for one in sorted(spans, key=lambda s: s.start):
        last = joined[-1] if joined else None
        if last is None or (last.end is not None and last.end < one.start):
            joined.append(one)
        elif last.end is not None and (one.end is None or one.end > last.end):
            joined[-1] = Span(start=last.start, end=one.end)
    return tuple(joined)


def meet(a: Iterable[Span], b: Iterable[Span]) -> tuple[Span, ...]:
    """Return the time that lies in some span of both groups."""
    others = join(b)
    return join(both for one in join(a) for two in others if (both := overlap(one, two)))


def without(spans: Iterable[Span], holes: Iterable[Span]) -> tuple[Span, ...]:
    """Return the time that lies in some span and in no hole."""
    left = list(join(spans))
    for hole in join(holes):
        pieces = [
            piece
            for one in left
            for piece in (
                span(one.start, _earlier(one.end, hole.start)),
                None if hole.end is None else span(max(one.start, hole.end), one.end),
            )
        ]
        left = [piece for piece in pieces if piece is not None]
    return tuple(left)


def cut(spans: Iterable[Span], window: Span | None) -> tuple[Span, ...]:
    """Return the spans joined and cut to the window; a window of None cuts nothing."""
    return join(spans) if window is None else meet(spans, (window,))


def elapsed(spans: Iterable[Span], *, until: datetime) -> timedelta:
    """Return how much time has really passed inside the spans up to `until`.

    Real hours, so a night in which clocks change counts 23 or 25 of them.
    """
    total = timedelta(0)
    for one in join(spans):
        end = until if one.end is None else min(one.end, until)
        total += max(end - one.start, timedelta(0))
    return total
