"""A small time bar for each row of an answer.

Thin on the shelf, full on the patient, dashed where the record has a gap.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from html import escape
from typing import Final
from zoneinfo import ZoneInfo

from traceability.domain.exposure import Shelf
from traceability.domain.spans import Span
from traceability.recall.answered import CircuitRow, PatientRow
from traceability.recall.circuits_seen import CircuitSeen
from traceability.web.pictures.letters import wide
from traceability.web.pictures.time_axis import Tick, ticks

WIDTH: Final = 400
HEIGHT: Final = 36


@dataclass(frozen=True, slots=True)
class Scale:
    """From when to when all bars of an answer run."""

    start: datetime
    end: datetime
    now: datetime
    ticks: tuple[tuple[float, str], ...]
    """Position and label of the marks above."""

    def x(self, at: datetime) -> float:
        """Return the position of a moment."""
        length = (self.end - self.start).total_seconds()
        return WIDTH * (at - self.start).total_seconds() / length


def exposure_scale(rows: Iterable[CircuitRow], now: datetime, zone: ZoneInfo) -> Scale:
    """Return the scale from the first circuit shown until now, a little beyond."""
    starts = [row.begun_at for row in rows]
    return scale_from(min(starts, default=now - timedelta(days=30)), now, zone)


def scale_from(start: datetime, now: datetime, zone: ZoneInfo) -> Scale:
    """Return the scale from a moment until a little beyond now; it shows a day at least."""
    start = min(start, now - timedelta(days=1))
    end = now + (now - start) * 0.04
    bare = Scale(start, end, now, ())
    marks, free_from = [], 0.0
    for tick in _ticks(start, end, zone):
        half, x = wide(tick.label, AXIS) / 2, bare.x(tick.at)
        if free_from <= x - half and x + half <= WIDTH:
            marks.append((x, tick.label))
            free_from = x + half + 6
    return Scale(start, end, now, tuple(marks))


def _ticks(start: datetime, end: datetime, zone: ZoneInfo) -> Iterator[Tick]:
    """Give days for some weeks, first days of months beyond."""
    months = (end - start) / timedelta(days=30.4)
    if months < MOST:
        yield from ticks(start, end, zone, most=MOST)
        return
    step = next((each for each in (2, 3, 6, 12, 24, 60, 120, 240) if months / each <= MOST), 600)
    first = start.astimezone(zone)
    number = -(-(first.year * 12 + first.month) // step) * step
    while (at := datetime(number // 12, number % 12 + 1, 1, tzinfo=zone)) <= end:
        if at >= start:
            yield Tick(at, f"{at:%Y-%m}")
        number += step


MOST: Final = 4
AXIS: Final = 20
"""Size of the letters above; the same stands in recall.css."""


def exposure_bar(row: CircuitRow, seen: CircuitSeen, scale: Scale) -> str:
    """Return the bar of one circuit; its words stand in the row beside it."""
    middle = HEIGHT / 2
    out = [f'<svg class="expo" aria-hidden="true" viewBox="0 0 {WIDTH} {HEIGHT}">']
    out += [f'<path class="grid" d="M{x:.1f} 0V{HEIGHT}"/>' for x, _ in scale.ticks]
    met = [each for each in row.met if each.shelf is not Shelf.EXCLUDED]
    over = seen.phase_since if seen.phase in {"ended", "discarded"} else scale.now
    shelf_end = min([each.taken_at for each in met], default=over or scale.now)
    out.append(
        f'<path class="cap" d="M{scale.x(row.begun_at):.1f} {middle - 6}v12"/>'
        f'<path class="thin" d="M{scale.x(row.begun_at):.1f} {middle}'
        f'H{max(scale.x(shelf_end), scale.x(row.begun_at) + 1):.1f}"/>'
    )
    for each in met:
        css = "half" if each.shelf is Shelf.INFERRED else "dashed"
        out += [_rect(css, span, scale) for span in _beyond(each.possible, each.sure)]
        out += [_rect("full", span, scale) for span in each.sure]
    out.append(f'<path class="now" d="M{scale.x(scale.now):.1f} 0V{HEIGHT}"/></svg>')
    return "".join(out)


def times_bar(row: PatientRow, scale: Scale) -> str:
    """Return the bar of one patient's times."""
    out = [f'<svg class="expo" aria-hidden="true" viewBox="0 0 {WIDTH} {HEIGHT}">']
    out += [f'<path class="grid" d="M{x:.1f} 0V{HEIGHT}"/>' for x, _ in scale.ticks]
    css = "half" if row.shelf is Shelf.INFERRED else "dashed"
    beyond = _beyond(row.possible, row.sure)
    shown = [each for each in beyond if each.end is None or each.end > scale.start]
    out += [_rect(css, span, scale) for span in shown]
    out += [_rect("full", span, scale) for span in row.sure]
    out.append(f'<path class="now" d="M{scale.x(scale.now):.1f} 0V{HEIGHT}"/></svg>')
    return "".join(out)


def _beyond(possible: Sequence[Span], sure: Sequence[Span]) -> Sequence[Span]:
    return possible if tuple(possible) != tuple(sure) else ()


def _rect(css: str, span: Span, scale: Scale) -> str:
    left, right = max(scale.x(span.start), 0), scale.x(span.end or scale.now)
    return (
        f'<rect class="{escape(css)}" x="{left:.1f}" y="{HEIGHT / 2 - 8}" '
        f'width="{max(right - left, 2):.1f}" height="16"/>'
    )
