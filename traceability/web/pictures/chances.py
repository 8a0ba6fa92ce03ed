"""The chance that none is ready, by calls a week, for 1 to 4 circuits; and time at each count."""

from collections.abc import Mapping, Sequence
from datetime import timedelta
from html import escape
from math import log10
from typing import Final

from traceability.domain.standby import Team, chance_none_ready, load
from traceability.shelf_messages import TEAMS, say_chance

WIDTH, HEIGHT = 1200, 430
PANEL: Final = 560
LEFT, RIGHT = 76, 452
"""Of the curves, inside a panel; behind them stand their names."""
TOP, BOTTOM = 64, 372
CIRCUITS: Final = (1, 2, 3, 4)
LEAST, MOST = 1e-5, 1.0
"""Chances from 0.001 % to 100 %, each step of the grid ten times the one below."""
STEPS: Final = 60
APART: Final = 19
"""Least distance of two names, in units of the drawing."""


def chances(demand: float, hours: float, target: int) -> str:
    """Return both models side by side as SVG, the unit's own demand a full-height line.

    Args:
        demand: calls a week, above zero.
        hours: mean re-prime time, above zero.
        target: how many the unit wants ready; its curve is thick.
    """
    far = _round_up(demand * 2)
    said = "; ".join(
        f"{TEAMS[team]}: "
        + ", ".join(
            f"{n} ready, {say_chance(chance_none_ready(n, load(demand, hours), team))}"
            for n in CIRCUITS
        )
        for team in Team
    )
    panels = "".join(
        _panel(index * (WIDTH - PANEL), team, demand, hours, far, target)
        for index, team in enumerate(Team)
    )
    return (
        f'<svg class="chances" role="img" aria-labelledby="chances-title chances-desc" '
        f'viewBox="0 0 {WIDTH} {HEIGHT}"><title id="chances-title">Chance that a call finds none '
        f"ready, at {demand:.2g} calls a week and {hours:.3g} h to prime again</title>"
        f'<desc id="chances-desc">{escape(said)}</desc>{panels}</svg>'
    )


def _round_up(value: float) -> float:
    size: float = 10.0 ** (len(str(int(value))) - 1) if value >= 1 else 0.1
    steps = -(-value // (size / 2))
    return max(float(steps * size / 2), 0.2)


def _x(rate: float, far: float) -> float:
    return LEFT + (RIGHT - LEFT) * rate / far


def _y(chance: float) -> float:
    share = log10(min(max(chance, LEAST), MOST) / LEAST) / log10(MOST / LEAST)
    return BOTTOM - (BOTTOM - TOP) * share


def _panel(at: float, team: Team, demand: float, hours: float, far: float, target: int) -> str:
    title = TEAMS[team][0].upper() + TEAMS[team][1:]
    out = [f'<g transform="translate({at} 0)"><text class="head" x="4" y="22">{title}</text>']
    for power in range(6):
        chance = 10.0**-power
        y = _y(chance)
        out.append(
            f'<path class="grid" d="M{LEFT} {y:.1f}H{RIGHT}"/>'
            f'<text class="axis" x="{LEFT - 8}" y="{y + 5:.1f}" text-anchor="end">'
            f"{chance * 100:g} %</text>"
        )
    for part in range(5):
        rate = far * part / 4
        x = _x(rate, far)
        out.append(
            f'<path class="grid" d="M{x:.1f} {BOTTOM}v6"/>'
            f'<text class="axis" x="{x:.1f}" y="{BOTTOM + 24}" text-anchor="middle">{rate:g}</text>'
        )
    out.append(
        f'<text class="axis" x="{(LEFT + RIGHT) / 2}" y="{BOTTOM + 48}" text-anchor="middle">'
        "calls a week</text>"
    )
    x = _x(demand, far)
    out.append(
        f'<path class="now" d="M{x:.1f} {TOP - 10}V{BOTTOM}"/>'
        f'<text class="here" x="{x:.1f}" y="{TOP - 16}" text-anchor="middle">'
        f"{demand:.2g} a week</text>"
    )
    ends = []
    for n in CIRCUITS:
        thick = " wanted" if n == target else ""
        out.append(f'<path class="curve{thick}" d="{_curve(n, team, hours, far)}"/>')
        y = _y(chance_none_ready(n, load(demand, hours), team))
        out.append(f'<circle class="dot" cx="{x:.1f}" cy="{y:.1f}" r="5"/>')
        ends.append(_y(chance_none_ready(n, load(far, hours), team)))
    for n, y in zip(CIRCUITS, _spread(ends), strict=True):
        bold = ' class="strong"' if n == target else ""
        name = f"{n} circuit{'' if n == 1 else 's'}"
        out.append(f'<text{bold} x="{RIGHT + 8}" y="{y + 5:.1f}">{name}</text>')
    return "".join(out) + "</g>"


def _curve(n: int, team: Team, hours: float, far: float) -> str:
    points = []
    for step in range(1, STEPS + 1):
        rate = far * (step / STEPS) ** 2  # closer together where the curve is steep
        chance = chance_none_ready(n, load(rate, hours), team)
        if chance >= LEAST:
            points.append(f"{_x(rate, far):.1f} {_y(chance):.1f}")
    return f"M{'L'.join(points)}" if points else ""


def _spread(ends: Sequence[float]) -> list[float]:
    """Return the heights of the names, pushed apart where two would touch, inside the panel."""
    placed: list[float] = []
    for y in ends:
        placed.append(max(y, placed[-1] + APART) if placed else y)
    over = max(placed[-1] - BOTTOM, 0.0)
    return [y - over for y in placed]


def ready_bars(at_count: Mapping[int, timedelta], target: int, words: Mapping[int, str]) -> str:
    """Return how long so many stood ready, one bar a count, the target's first."""
    total = sum(at_count.values(), timedelta(0)) or timedelta(seconds=1)
    counts = sorted({*range(target + 1), *at_count}, reverse=True)
    row, left, right = 36, 430, 1190  # words first: they are read where the bars do not fit
    out = [
        f'<svg class="ready-bars" role="img" aria-labelledby="bars-title" '
        f'viewBox="0 0 {WIDTH} {row * len(counts)}"><title id="bars-title">How long so many stood '
        f"ready: {escape('; '.join(f'{n} of {target}: {words[n]}' for n in counts))}</title>"
    ]
    for index, count in enumerate(counts):
        y = row * index + row / 2
        share = at_count.get(count, timedelta(0)) / total
        style = "full" if count >= target else "none" if count == 0 else "part"
        end = left + (right - left) * share
        out.append(
            f'<text class="strong" x="0" y="{y + 6}">{count} of {target}</text>'
            f'<path class="rail" d="M{left} {y}H{right}"/>'
            f'<path class="{style}" d="M{left} {y}H{end:.1f}"/>'
            f'<text x="84" y="{y + 6}">{escape(words[count])}</text>'
        )
    return "".join(out) + "</svg>"
