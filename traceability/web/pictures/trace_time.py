"""A trace over time: a lane for each circuit; of many, a column for each week, month or year.

Thin while the thing was in the circuit, full on the patient, dashed where only possible; inferred
is outlined with half its height filled, as everywhere.
"""

from collections.abc import Callable
from datetime import datetime
from html import escape
from typing import Final
from zoneinfo import ZoneInfo

from traceability.domain.trace import Node, Stay, StayKind, Sure, Trace
from traceability.web.pictures.letters import wide
from traceability.web.pictures.timeline import Bar, Lane, draw

MOST_LANES: Final = 40
WIDTH, LEFT, RIGHT = 1224, 150, 1214
TOP, FLOOR, HEIGHT = 34, 210, 270
SIZE: Final = 13
"""Size of letters; the same stands in trace.css."""


def trace_time(
    trace: Trace, now: datetime, zone: ZoneInfo, title: str, address: Callable[[Node], str]
) -> str:
    """Return the lanes as SVG; empty where nothing has a time."""
    nodes = trace.nodes
    of_lane: dict[str, list[Stay]] = {}
    for stay in trace.stays:
        if stay.lane in nodes:
            of_lane.setdefault(stay.lane, []).append(stay)
    lanes = [
        Lane(
            nodes[key].label,
            tuple(_bar(stay, nodes[key]) for stay in stays),
            href=address(nodes[key]),
        )
        for key, stays in list(of_lane.items())[:MOST_LANES]
    ]
    if not lanes:
        return ""
    over = all(stay.end is not None for stays in of_lane.values() for stay in stays)
    rest = len(of_lane) - len(lanes)
    note = f"{rest} more are listed below and not drawn" if rest else ""
    return draw(title, lanes, now, zone, over=over, key="when", note=note)


def _bar(stay: Stay, node: Node) -> Bar:
    label = (stay.label,) if stay.label and stay.label != node.label else ()
    if stay.sure is Sure.POSSIBLE:
        return Bar(stay.start, stay.end, "open", label)
    if stay.sure is Sure.INFERRED:
        return Bar(stay.start, stay.end, "half", label)
    style = "thick" if stay.kind is StayKind.ON_PATIENT else "thin"
    return Bar(stay.start, stay.end, style, label)


def trace_counts(trace: Trace, title: str, *, key: str = "counts") -> str:
    """Return how many circuits began, and were taken, week by week or longer, as SVG."""
    counts = trace.over_time
    if not counts:
        return ""
    most = max(max(pair) for pair in counts.values())
    step = (RIGHT - LEFT) / len(counts)
    said = "; ".join(
        f"{when}: {begun} begun, {taken} taken" for when, (begun, taken) in counts.items()
    )
    out = [
        f'<svg class="trace counts" role="img" aria-labelledby="{key}-title {key}-desc" '
        f'viewBox="0 0 {WIDTH} {HEIGHT}" data-wide="{WIDTH}">'
        f'<title id="{key}-title">{escape(title)}</title>'
        f'<desc id="{key}-desc">{escape(said)}</desc>',
        f'<path class="rail" d="M{LEFT} {FLOOR}H{RIGHT}"/>',
        f'<text class="note" x="0" y="{TOP}">most: {most:,}</text>',
        f'<text class="note" x="0" y="{FLOOR - 14}">outline: begun</text>',
        f'<text class="note" x="0" y="{FLOOR + 4}">full: taken</text>',
    ]
    every = max(1, int(-(-(max(wide(when, SIZE) for when in counts) + 12) // step)))
    for number, (when, (begun, taken)) in enumerate(counts.items()):
        x = LEFT + step * number + step * 0.12
        broad = max(step * 0.76, 1.0)
        title_ = f"<title>{escape(when)}: {begun} begun, {taken} taken</title>"
        for css, count, share in (("begun", begun, 1.0), ("taken", taken, 0.5)):
            high = (FLOOR - TOP - 14) * count / most if most else 0
            if count:
                out.append(
                    f'<rect class="{css}" x="{x:.1f}" y="{FLOOR - high:.1f}" '
                    f'width="{broad * share:.1f}" height="{high:.1f}">{title_}</rect>'
                )
        middle = x + broad / 2
        number_wide = wide(f"{begun}", SIZE)
        if begun and number_wide + 4 <= step:
            high = (FLOOR - TOP - 14) * begun / most
            out.append(_middle(f"{begun}", middle, FLOOR - high - 5))
        if number % every == 0 and middle + wide(when, SIZE) / 2 <= WIDTH:
            out.append(_middle(when, middle, FLOOR + 22))
    return "".join(out) + "</svg>"


def _middle(text: str, x: float, y: float) -> str:
    return f'<text class="note" x="{x:.1f}" y="{y:.1f}" text-anchor="middle">{escape(text)}</text>'
