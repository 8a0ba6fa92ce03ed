"""The trend of the drill: one dot a week, the share of reconciled units, zero shown.

Both numbers stand beneath each dot, and all of it in a table beside the picture.
"""

from collections.abc import Sequence
from html import escape
from typing import Final

from traceability.drill_messages import per_cent
from traceability.reads.drills import Drill
from traceability.web.pictures.letters import wide

WIDTH: Final = 1200
LEFT, RIGHT = 66, 1190
TOP, FLOOR = 18, 196
DATE, NUMBERS = 222, 246
HEIGHT: Final = 256
SIZE: Final = 15
"""Size of letters; the same stands in drill.css."""
MOST: Final = 26
"""Weeks drawn; the table holds more."""
GRID: Final = (0, 50, 100)


def trend(drills: Sequence[Drill]) -> str:
    """Return the weekly drills as SVG, oldest first; empty where there is none with units.

    A change of the rule breaks the line: shares by two rules are not one trend.
    """
    shown = [each for each in drills if not each.by_hand and each.units][:MOST][::-1]
    if not shown:
        return ""
    step = (RIGHT - LEFT) / len(shown)
    said = "; ".join(f"{each.week}: {each.reconciled} of {each.units}" for each in shown)
    out = [
        f'<svg class="shares" role="img" aria-labelledby="shares-title shares-desc" '
        f'viewBox="0 0 {WIDTH} {HEIGHT}"><title id="shares-title">Share of units reconciled, '
        f"from receipt to end, week by week</title>"
        f'<desc id="shares-desc">{escape(said)}</desc>'
    ]
    for share in GRID:
        css = "floor" if share == 0 else "grid"
        out.append(f'<path class="{css}" d="M{LEFT} {_y(share):.1f}H{RIGHT}"/>')
        out.append(_text("axis", LEFT - 10, _y(share) + 5, f"{share} %", "end"))
    every = _every(step)
    before: tuple[float, float, int] | None = None
    for number, each in enumerate(shown):
        x = LEFT + step * (number + 0.5)
        y = _y(100 * each.reconciled / each.units)
        if before and before[2] == each.definition:
            out.append(f'<path class="line" d="M{before[0]:.1f} {before[1]:.1f}L{x:.1f} {y:.1f}"/>')
        out.append(f'<circle class="dot" cx="{x:.1f}" cy="{y:.1f}" r="6"/>')
        newest_first = len(shown) - 1 - number
        if newest_first % every == 0:
            out.append(_text("axis", x, DATE, f"{each.week}"))
            out.append(_text("axis", x, NUMBERS, f"{each.reconciled} of {each.units}"))
        if newest_first == 0:
            above = y - 14 if y > TOP + 20 else y + 26
            out.append(_text("last", x, above, f"{per_cent(each.reconciled, each.units)} %"))
        before = (x, y, each.definition)
    return "".join(out) + "</svg>"


def _y(share: float) -> float:
    return FLOOR - (FLOOR - TOP) * share / 100


def _every(step: float) -> int:
    """Return at every how many dots words have room, counted from the newest."""
    room = wide("2026-11-25", SIZE) + 12
    return next(n for n in range(1, 60) if step * n >= room)


def _text(css: str, x: float, y: float, words: str, anchor: str = "middle") -> str:
    return (
        f'<text class="{css}" x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(words)}</text>'
    )
