"""A circuit's life as lanes in time: where it was, its prime fluid, on the patient, its parts.

Thin on the shelf, thick on the patient, dashed where nothing was recorded; *now* is a full-height
line. Times go in as moments, positions come out; the same drawing serves screen and paper.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from html import escape
from typing import Final
from zoneinfo import ZoneInfo

from traceability.domain.parts import PartState
from traceability.reads.circuits import CircuitFacts, PartFacts

WIDTH: Final = 1224
LEFT, RIGHT = 196, 1204
TOP, LANE = 34, 36
MOST_LANES: Final = 12
MOST_TICKS: Final = 7


@dataclass(frozen=True, slots=True)
class Bar:
    """One stretch on a lane."""

    start: datetime
    end: datetime | None
    style: str
    """thin, thick, open (dashed)."""
    label: str = ""


@dataclass(frozen=True, slots=True)
class Lane:
    """One thing over time."""

    name: str
    bars: tuple[Bar, ...]


def life(circuit: CircuitFacts, now: datetime, zone: ZoneInfo) -> str:
    """Return the circuit's timeline as SVG."""
    lanes = [
        Lane("Where it was", _places(circuit)),
        Lane("Prime fluid", _fluid(circuit)),
        Lane("On patient", _runs(circuit)),
        *_part_lanes(circuit),
    ]
    end = max([now, *(bar.end for lane in lanes for bar in lane.bars if bar.end)])
    start = min([circuit.begun_at, *(bar.start for lane in lanes for bar in lane.bars)])
    return draw(f"Circuit {circuit.number} over time", lanes, start, end, now, zone)


def draw(
    title: str,
    lanes: Sequence[Lane],
    start: datetime,
    end: datetime,
    now: datetime,
    zone: ZoneInfo,
) -> str:
    """Return lanes as SVG; the time axis stands above with dates of the unit's zone."""
    length = max((end - start).total_seconds(), 3600.0) * 1.06
    height = TOP + LANE * len(lanes) + 24

    def x(at: datetime) -> float:
        return LEFT + (RIGHT - LEFT) * (at - start).total_seconds() / length

    out = [
        f'<svg class="life" role="img" aria-labelledby="life-title life-desc" '
        f'viewBox="0 0 {WIDTH} {height}"><title id="life-title">{escape(title)}</title>'
        f'<desc id="life-desc">{escape(_words(lanes, zone))}</desc>'
    ]
    bottom = TOP + LANE * len(lanes)
    for at in _ticks(start, start + timedelta(seconds=length), zone):
        label = f"{at.astimezone(zone):%Y-%m-%d}"
        out.append(f'<path class="grid" d="M{x(at):.1f} {TOP - 10}V{bottom}"/>')
        out.append(f'<text class="axis" x="{x(at):.1f}" y="16" text-anchor="middle">{label}</text>')
    for index, lane in enumerate(lanes):
        y = TOP + LANE * index + 20
        out.append(f'<text class="lane" x="0" y="{y + 5}">{escape(lane.name)}</text>')
        free_from = 0.0
        for bar in lane.bars:
            left, right = x(bar.start), x(bar.end or now)
            out.append(_bar(bar, left, max(right, left + 2), y))
            if bar.label and left + 6 >= free_from:
                out.append(
                    f'<text class="what" x="{left + 6:.1f}" y="{y - 11}">{escape(bar.label)}</text>'
                )
                free_from = left + 6 + len(bar.label) * 7.2
    if start <= now <= start + timedelta(seconds=length):
        out.append(f'<path class="now" d="M{x(now):.1f} {TOP - 10}V{bottom + 4}"/>')
        out.append(
            f'<text class="axis now-word" x="{x(now):.1f}" y="{bottom + 20}" '
            f'text-anchor="middle">now</text>'
        )
    return "".join(out) + "</svg>"


def _bar(bar: Bar, left: float, right: float, y: float) -> str:
    cap = f'<path class="cap" d="M{left:.1f} {y - 7}v14"/>'
    if bar.style == "thick":
        return (
            f'<rect class="thick" x="{left:.1f}" y="{y - 9}" '
            f'width="{right - left:.1f}" height="18"/>'
        )
    if bar.style == "open":
        return (
            f'<rect class="dashed" x="{left:.1f}" y="{y - 8}" width="{right - left:.1f}" '
            f'height="16"/>'
        )
    return f'{cap}<path class="thin" d="M{left:.1f} {y}H{right:.1f}"/>'


def _ticks(start: datetime, end: datetime, zone: ZoneInfo) -> Iterable[datetime]:
    days = max((end - start).days, 1)
    step = next((each for each in (1, 2, 4, 7, 14, 28, 56, 112) if days / each <= MOST_TICKS), 224)
    first = start.astimezone(zone).date() + timedelta(days=1)
    for number in range(0, days + 1, step):
        at = datetime.combine(first + timedelta(days=number), datetime.min.time(), tzinfo=zone)
        if at <= end:
            yield at


def _places(circuit: CircuitFacts) -> tuple[Bar, ...]:
    return tuple(Bar(stay.from_, stay.until, "thin", stay.name) for stay in circuit.places)


def _end(circuit: CircuitFacts) -> datetime | None:
    """Return when the circuit ended; None while it has not."""
    over = [p.from_ for p in circuit.phases if p.name in {"ended", "discarded", "transferred out"}]
    return min(over, default=None)


def _fluid(circuit: CircuitFacts) -> tuple[Bar, ...]:
    fluids = [part for part in circuit.parts if part.kind == "fluid"]
    if not fluids:
        return ()
    first = min(part.from_ for part in fluids)
    lots = sorted({f"lot {part.lot}" if part.lot else "lot not recorded" for part in fluids})
    bars = [Bar(first, _end(circuit), "thin", f"{fluids[0].name}, {', '.join(lots)}")]
    bars += [Bar(bar.start, bar.end, bar.style) for bar in _runs(circuit)]
    return tuple(bars)


def _runs(circuit: CircuitFacts) -> tuple[Bar, ...]:
    bars = []
    for run in circuit.runs:
        doubt = " disputed" if run.disputed else ""
        if run.flow_from is None:
            label = f"{run.run}{doubt}, flow on not recorded"
            bars.append(Bar(run.taken_at, run.until, "open", label))
            continue
        if run.flow_from > run.taken_at:
            bars.append(Bar(run.taken_at, run.flow_from, "thin"))
        style = "open" if run.disputed else "thick"
        bars.append(Bar(run.flow_from, run.until, style, f"{run.run}{doubt}"))
    return tuple(bars)


def _part_lanes(circuit: CircuitFacts) -> list[Lane]:
    lanes: dict[str, list[PartFacts]] = {}
    for part in circuit.parts:
        if part.kind != "fluid" and part.state is not PartState.TICKED:
            lanes.setdefault(part.place, []).append(part)
    # Lanes with a change first: they are what somebody looks for.
    ordered = sorted(lanes.items(), key=lambda item: all(p.until is None for p in item[1]))
    return [
        Lane(name, tuple(_part_bar(part, circuit) for part in parts))
        for name, parts in ordered[:MOST_LANES]
    ]


def _part_bar(part: PartFacts, circuit: CircuitFacts) -> Bar:
    known = part.state is PartState.RECORDED
    words = {
        PartState.INSIDE_PACK: "inside the pack, inner lot not known",
        PartState.LOT_NOT_READABLE: "lot not readable",
        PartState.LOT_NOT_RECORDED: "lot not recorded",
        PartState.NOT_FITTED: "not fitted",
    }
    label = f"lot {part.lot}" if part.lot else words.get(part.state, "")
    if part.serial:
        label = f"{label}{', ' if label else ''}serial {part.serial}"
    leaves = circuit.ended_at if part.leaves else None
    return Bar(
        part.from_, part.until or leaves or _end(circuit), "thin" if known else "open", label
    )


def _words(lanes: Sequence[Lane], zone: ZoneInfo) -> str:
    said = []
    for lane in lanes:
        for bar in lane.bars:
            start = f"{bar.start.astimezone(zone):%Y-%m-%d %H:%M}"
            end = f"{bar.end.astimezone(zone):%Y-%m-%d %H:%M}" if bar.end else "now"
            said.append(f"{lane.name}: {bar.label or 'recorded'}, {start} to {end}")
    return "; ".join(said)
