"""The coming weeks of stock: how many primes would be possible, and what passes its date.

One column a week: its bar is as high as the primes then possible, the open bead says none. The same
stands in a table beside it.
"""

from collections.abc import Mapping, Sequence
from html import escape
from typing import Final
from zoneinfo import ZoneInfo

from traceability.domain.stock_ahead import WeekAhead
from traceability.web.pictures.letters import cut, wide
from traceability.web.pictures.marks import placed

WIDTH: Final = 1200
LEFT, RIGHT = 132, 1190
TOP, FLOOR = 40, 190
DATE, USE, EXPIRY = 216, 246, 276
HEIGHT: Final = 296
SIZE: Final = 15
"""Size of letters; the same stands in stock.css."""
TALLEST: Final = 4
"""A full bar is at least so many primes: one prime must not look like plenty."""


def weeks_ahead(
    circuit_type: str,
    weeks: Sequence[WeekAhead],
    names: Mapping[str, str],
    zone: ZoneInfo,
    *,
    key: str,
) -> str:
    """Return the picture as SVG.

    `names` are those of the needs; `key` makes its ids unlike those of another picture.
    """
    most = max([TALLEST, *(week.possible.count for week in weeks)])
    step = (RIGHT - LEFT) / len(weeks)
    said = "; ".join(
        f"{week.starts.astimezone(zone):%Y-%m-%d}: {week.possible.count}" for week in weeks
    )
    out = [
        f'<svg class="ahead" role="img" aria-labelledby="{key}-title {key}-desc" '
        f'viewBox="0 0 {WIDTH} {HEIGHT}"><title id="{key}-title">{escape(circuit_type)}: primes '
        f"possible in the coming weeks, nothing being delivered</title>"
        f'<desc id="{key}-desc">{escape(said)}</desc>',
        f'<path class="floor" d="M{LEFT} {FLOOR}H{RIGHT}"/>',
        f'<text class="axis" x="0" y="{FLOOR - 4}">primes possible</text>',
        f'<text class="axis" x="0" y="{DATE}">week from</text>',
        f'<text class="axis" x="0" y="{USE}">our use</text>',
        f'<text class="axis" x="0" y="{EXPIRY}">expires unused</text>',
    ]
    every = _every(step)
    for number, week in enumerate(weeks):
        middle = LEFT + step * (number + 0.5)
        out.append(_column(week, middle, step, most))
        if number % every == 0:
            day = f"{week.starts.astimezone(zone):%Y-%m-%d}"
            out.append(_text("axis", middle, DATE, day))
        out.append(_use(week, middle, step))
        out.append(_expiring(week, middle, step, names))
    return "".join(out) + "</svg>"


def _every(step: float) -> int:
    """Return at every how many columns a date has room."""
    room = wide("2026-11-25", SIZE) + 8
    return next(n for n in range(1, 60) if step * n >= room)


def _column(week: WeekAhead, middle: float, step: float, most: int) -> str:
    count = week.possible.count
    if count == 0:
        return placed("open", middle, FLOOR - 20, 22) + _text("none", middle, FLOOR - 38, "0")
    high = (FLOOR - TOP) * count / most
    half = min(step * 0.3, 34)
    bar = (
        f'<rect class="bar" x="{middle - half:.1f}" y="{FLOOR - high:.1f}" '
        f'width="{2 * half:.1f}" height="{high:.1f}"/>'
    )
    return bar + _text("count", middle, FLOOR - high - 8, str(count))


def _use(week: WeekAhead, middle: float, step: float) -> str:
    if not week.wanted:
        return _text("axis", middle, USE, "–")
    if week.made == week.wanted:
        return _text("words", middle, USE, str(week.wanted))
    between = " of " if step >= wide("0 of 1 ", SIZE, bold=True) else "/"
    return _text("short", middle, USE, f"{week.made}{between}{week.wanted}")


def _expiring(week: WeekAhead, middle: float, step: float, names: Mapping[str, str]) -> str:
    if not week.expiring:
        return ""
    units = sum(week.expiring.values())
    words = ", ".join(f"{number} {names[key]}" for key, number in week.expiring.items())
    room = step - 10
    shown = words if wide(words, SIZE) <= room else cut(words, room, SIZE)
    if step < 90:  # noqa: PLR2004 - no word has room; the table beside it names them
        shown = str(units)
    tick = f'<path class="gone" d="M{middle:.1f} {EXPIRY - 22}v8"/>'
    return tick + _text("words", middle, EXPIRY + 4, shown)


def _text(css: str, x: float, y: float, words: str) -> str:
    return (
        f'<text class="{css}" x="{x:.1f}" y="{y:.1f}" text-anchor="middle">{escape(words)}</text>'
    )
