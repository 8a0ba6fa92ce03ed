"""Lanes in time: one lane a thing, bars and dots on it, *now* a full-height line.

Thin where it stood or was in, thick on the patient, dashed where the record has a gap. Moments and
labels go in, an SVG comes out; the same drawing serves screen and paper. What has no room beside
its bar stands in the bar's own title; all of it stands in the picture's description.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from html import escape
from typing import Final
from zoneinfo import ZoneInfo

from traceability.web.pictures.letters import Label, cut, label_svg, label_wide, wide
from traceability.web.pictures.time_axis import Tick, ticks

WIDTH: Final = 1224
RIGHT: Final = 1204
TOP, LANE, BELOW = 34, 36, 24
NAMES_LEAST, NAMES_MOST = 130, 260
"""Room for the names of the lanes, on the left."""
NAME, WHAT, AXIS = 15, 14, 13
"""Sizes of letters; the same stand in pictures.css."""
AHEAD: Final = 1.06
"""How much longer the axis is than what it shows: now is not at the edge."""


@dataclass(frozen=True, slots=True)
class Bar:
    """One stretch on a lane."""

    start: datetime
    end: datetime | None
    """None: it goes on."""
    style: str
    """thin, thick, fluid (thick, not the patient's own lane), half (inferred), open (dashed)."""
    label: Label = ()


@dataclass(frozen=True, slots=True)
class Dot:
    """One act on a lane."""

    at: datetime
    label: str


@dataclass(frozen=True, slots=True)
class Lane:
    """One thing over time."""

    name: str
    bars: tuple[Bar, ...] = ()
    dots: tuple[Dot, ...] = ()
    href: str = ""
    """Where its name leads; empty: nowhere."""


@dataclass(frozen=True, slots=True)
class Scale:
    """Where a moment lies."""

    start: datetime
    seconds: float
    left: float

    def x(self, at: datetime) -> float:
        """Return the position of a moment; what lies outside stands at the edge."""
        share = (at - self.start).total_seconds() / self.seconds
        return self.left + (RIGHT - self.left) * min(max(share, 0), 1)


def draw(
    title: str,
    lanes: Sequence[Lane],
    now: datetime,
    zone: ZoneInfo,
    *,
    over: bool = False,
    key: str = "life",
    note: str = "",
) -> str:
    """Return lanes as SVG.

    `over`: nothing goes on, so the picture ends with the last thing on it and not with now. `key`
    begins its ids; `note` says what is not drawn.
    """
    moments = _moments(lanes) if over else [now, *_moments(lanes)]
    moments = moments or [now]
    start, end = min(moments), max(moments)
    names = [wide(lane.name, NAME, bold=True) for lane in lanes]
    left = min(max([NAMES_LEAST, *names]), NAMES_MOST) + 14
    scale = Scale(start, max((end - start).total_seconds(), 3600.0) * AHEAD, left)
    bottom = TOP + LANE * len(lanes)
    said = _words(lanes, zone) + (f"; {note}" if note else "")
    # In a picture with the role of an image nothing can be reached: its links would be lost.
    role = "group" if any(lane.href for lane in lanes) else "img"
    out = [
        f'<svg class="life" role="{role}" aria-labelledby="{key}-title {key}-desc" '
        f'viewBox="0 0 {WIDTH} {bottom + BELOW}"><title id="{key}-title">{escape(title)}</title>'
        f'<desc id="{key}-desc">{escape(said)}</desc>'
    ]
    here = scale.x(now)
    is_shown = now <= start + timedelta(seconds=scale.seconds)
    if is_shown:
        out.append(
            f'<rect class="future" x="{here:.1f}" y="{TOP - 10}" width="{RIGHT - here:.1f}" '
            f'height="{bottom - TOP + 10}"/>'
        )
    until = start + timedelta(seconds=scale.seconds)
    out += [_tick(tick, scale, bottom) for tick in ticks(start, until, zone)]
    for index, lane in enumerate(lanes):
        y = TOP + LANE * index + 20
        room = left - 14
        name = f'<text class="lane" x="0" y="{y + 5}">{escape(_name(lane.name, room))}</text>'
        out.append(f'<a href="{escape(lane.href)}">{name}</a>' if lane.href else name)
        out += [_bar(bar, scale, y, now, zone) for bar in lane.bars]
        out += _bar_labels(lane.bars, scale, y, now)
        out += _dots(lane.dots, scale, y, zone)
    if is_shown:
        out.append(_now(here, bottom))
    if note:
        out.append(f'<text class="axis" x="0" y="{bottom + 20}">{escape(note)}</text>')
    return "".join(out) + "</svg>"


def _now(x: float, bottom: float) -> str:
    return (
        f'<path class="now" d="M{x:.1f} {TOP - 10}V{bottom + 4}"/><text class="axis now-word" '
        f'x="{x:.1f}" y="{bottom + 20}" text-anchor="middle">now</text>'
    )


def _moments(lanes: Sequence[Lane]) -> list[datetime]:
    bars = [bar for lane in lanes for bar in lane.bars]
    dots = [dot.at for lane in lanes for dot in lane.dots]
    return [bar.start for bar in bars] + [bar.end for bar in bars if bar.end] + dots


def _name(name: str, room: float) -> str:
    return cut(name, room, NAME, bold=True)


def _tick(tick: Tick, scale: Scale, bottom: float) -> str:
    x = scale.x(tick.at)
    line = f'<path class="grid" d="M{x:.1f} {TOP - 10}V{bottom}"/>'
    half = wide(tick.label, AXIS) / 2
    if x + half > WIDTH or x - half < 0:
        return line
    return (
        f'{line}<text class="axis" x="{x:.1f}" y="16" text-anchor="middle">'
        f"{escape(tick.label)}</text>"
    )


def _bar(bar: Bar, scale: Scale, y: float, now: datetime, zone: ZoneInfo) -> str:
    left = scale.x(bar.start)
    width = max(scale.x(bar.end or now) - left, 2)
    title = f"<title>{escape(_bar_words(bar, zone))}</title>"
    if bar.style == "thin":
        return (
            f'<g>{title}<path class="cap" d="M{left:.1f} {y - 7}v14"/>'
            f'<path class="thin" d="M{left:.1f} {y}h{width:.1f}"/></g>'
        )
    if bar.style == "half":
        return (
            f'<g>{title}<rect class="line" x="{left:.1f}" y="{y - 6}" width="{width:.1f}" '
            f'height="12"/><rect class="thick" x="{left:.1f}" y="{y}" width="{width:.1f}" '
            f'height="6"/></g>'
        )
    css, high = ("dashed", 12) if bar.style == "open" else (bar.style, 14)
    return (
        f'<rect class="{css}" x="{left:.1f}" y="{y - high / 2}" width="{width:.1f}" '
        f'height="{high}">{title}</rect>'
    )


def _bar_labels(bars: Sequence[Bar], scale: Scale, y: float, now: datetime) -> list[str]:
    """Label what has room: the last bar first, since it is what holds now."""
    taken: list[tuple[float, float]] = []
    out = []
    for bar in [*bars[-1:], *bars[:-1]]:
        width = label_wide(bar.label, WHAT)
        if not width:
            continue
        left, right = scale.x(bar.start), scale.x(bar.end or now)
        starts = [left + 6]
        if bar is bars[-1] or right - width - 6 >= left:
            starts.append(right - width - 6)
        fits = (x for x in starts if scale.left <= x and x + width <= WIDTH)
        free = (x for x in fits if all(x + width < a or b < x for a, b in taken))
        at = next(free, None)
        if at is None:
            continue
        taken.append((at - 8, at + width + 8))
        out.append(f'<text class="what" x="{at:.1f}" y="{y - 11}">{label_svg(bar.label)}</text>')
    return out


def _dots(dots: Sequence[Dot], scale: Scale, y: float, zone: ZoneInfo) -> list[str]:
    taken: list[tuple[float, float]] = []
    out = []
    for dot in dots:
        x, half = scale.x(dot.at), wide(dot.label, AXIS) / 2
        told = f"{dot.label}, {_stamp(dot.at, zone)}"
        out.append(f'<circle class="dot" cx="{x:.1f}" cy="{y - 8}" r="6">')
        out.append(f"<title>{escape(told)}</title></circle>")
        middle = min(max(x, scale.left + half), WIDTH - half)
        if all(middle + half < a or b < middle - half for a, b in taken):
            taken.append((middle - half - 6, middle + half + 6))
            out.append(
                f'<text class="axis" x="{middle:.1f}" y="{y + 11}" text-anchor="middle">'
                f"{escape(dot.label)}</text>"
            )
    return out


def _stamp(at: datetime, zone: ZoneInfo) -> str:
    return f"{at.astimezone(zone):%Y-%m-%d %H:%M %Z}"


def _bar_words(bar: Bar, zone: ZoneInfo) -> str:
    end = _stamp(bar.end, zone) if bar.end else "now"
    return f"{''.join(bar.label) or 'recorded'}, {_stamp(bar.start, zone)} to {end}"


def _words(lanes: Sequence[Lane], zone: ZoneInfo) -> str:
    said = []
    for lane in lanes:
        said += [f"{lane.name}: {_bar_words(bar, zone)}" for bar in lane.bars]
        said += [f"{lane.name}: {dot.label}, {_stamp(dot.at, zone)}" for dot in lane.dots]
    return "; ".join(said)
