"""The next 31 days of the shelf: until when each primed circuit may be used.

A full bar to the use-by for what is ready, a thin one for what does not count now, with the reason.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from html import escape
from typing import Final
from zoneinfo import ZoneInfo

from traceability.domain.circuits import State
from traceability.domain.readiness import Why
from traceability.reads.shelf import OnShelf, Shelf
from traceability.shelf_messages import say_why
from traceability.web.pictures.letters import wide
from traceability.web.pictures.marks import placed

WIDTH: Final = 1200
LEFT, RIGHT = 152, 1150
TOP, ROW = 34, 37
SIZE: Final = 15
"""Size of letters; the same stands in shelf.css."""
AHEAD: Final = timedelta(days=31)
WEEK: Final = timedelta(days=7)
MARKS: Final = {
    State.READY: "whole",
    State.ON_HOLD: "shut",
    State.NOT_RIGHT: "wait",
    State.AWAITING_SIGNATURES: "wait",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ShelfDay:
    """One circuit of the shelf and until when it may be used."""

    number: str
    mark: str
    until: datetime
    style: str
    """full or thin."""
    words: str


def shelf_days(shelf: Shelf, now: datetime, zone: ZoneInfo) -> str:
    """Return the picture of the shelf's circuits; empty if none has days ahead of it."""
    ready = [one for each in shelf.required for one in each.ready]
    waiting = [one for each in shelf.required for one in each.not_counted]
    rows = list(_rows([*ready, *waiting, *shelf.elsewhere], now, zone))
    return days(rows, now, zone) if rows else ""


def _rows(found: Iterable[OnShelf], now: datetime, zone: ZoneInfo) -> Iterable[ShelfDay]:
    for each in found:
        circuit = each.circuit
        if circuit.use_by is None or circuit.use_by <= now:
            continue
        stamp = f"{circuit.use_by.astimezone(zone):%Y-%m-%d %H:%M}"
        ready = not each.reasons
        at_place = [why for why in each.reasons if why is not Why.NO_REQUIRED_PLACE]
        words = f"{', '.join(say_why(why) for why in at_place)}; use by" if at_place else "use by"
        yield ShelfDay(
            number=circuit.number,
            mark="whole" if ready else MARKS.get(circuit.state, "open"),
            until=circuit.use_by,
            style="full" if ready else "thin",
            words=f"{words} {stamp}",
        )


def days(rows: Iterable[ShelfDay], now: datetime, zone: ZoneInfo) -> str:
    """Return the bars as SVG, one row a circuit; one that ends later runs to the edge."""
    rows = list(rows)
    height = TOP + ROW * len(rows) + 6
    said = "; ".join(f"{row.number}: {row.words}" for row in rows)
    out = [
        f'<svg class="days" role="img" aria-labelledby="days-title days-desc" '
        f'viewBox="0 0 {WIDTH} {height}"><title id="days-title">Until when each circuit may be '
        f'used, next 31 days</title><desc id="days-desc">{escape(said)}</desc>'
    ]
    for week in range(5):
        at = now + WEEK * week
        x = _x(at, now)
        out.append(
            f'<path class="grid" d="M{x:.1f} {TOP - 10}V{height - 4}"/>'
            f'<text class="axis" x="{x:.1f}" y="16" text-anchor="middle">'
            f"{at.astimezone(zone):%Y-%m-%d}</text>"
        )
    for index, row in enumerate(rows):
        out.append(_row(row, TOP + ROW * index + 16, now))
    return "".join(out) + "</svg>"


def _x(at: datetime, now: datetime) -> float:
    share = (at - now) / AHEAD
    return LEFT + (RIGHT - LEFT) * min(max(share, 0.0), 1.0)


def _row(row: ShelfDay, y: float, now: datetime) -> str:
    end = _x(row.until, now)
    bar = f'<path class="{row.style}" d="M{LEFT} {y}H{end:.1f}"/>'
    cap = f'<path class="cap" d="M{end:.1f} {y - 10}v20"/>' if row.until <= now + AHEAD else ""
    long = wide(row.words, SIZE)
    if row.style == "thin" and end + 10 + long <= WIDTH:
        at = f'x="{end + 10:.1f}" y="{y + 5}"'  # behind the bar
    else:
        at = f'x="{max(end - 10, LEFT + long):.1f}" y="{y + 20}" text-anchor="end"'
    words = f'<text class="till" {at}>{escape(row.words)}</text>'
    return (
        f"{placed(row.mark, 12, y, 22)}"
        f'<text class="lot" x="34" y="{y + 6}">{escape(row.number)}</text>'
        f"{bar}{cap}{words}"
    )
