"""The circuit plan: the build sheet drawn as the loop that blood passes along.

Drainage limb along the top, pump at the top right, link down the right side, oxygenator at the
bottom right, return limb along the bottom: reading round the loop is the order in which blood
meets the parts. Fluids hang as bags inside the loop; what is used while priming lies on the tray.
Suction (hollow line) up to the pump inlet, pressure (solid) from the pump on. Units are the
drawing's own; 1240 wide.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from typing import Final

from traceability.web.pictures.letters import Label
from traceability.web.pictures.marks import WORDS, placed
from traceability.web.pictures.plan_frame import Bench, Frame, Spot, raised_by
from traceability.web.pictures.plan_labels import (
    COUNT,
    DASH,
    FOLD,
    LEFT,
    LINE,
    RIGHT,
    TOP,
    WIDTH,
    Line,
    PlanSlot,
    line_beside,
    lines_under,
)

__all__ = ["WIDTH", "Plan", "PlanSlot", "plan", "state_words"]

ON_ONE_ROW: Final = 6
FULL: Final = 40
"""Size of a bead that is not squeezed."""


@dataclass(frozen=True, slots=True)
class Plan:
    """The drawing: its frame and one group a place, so that a scan replaces one group only."""

    height: float
    frame: str
    groups: dict[str, str]
    words: tuple[tuple[str, str, str], ...]
    """Id, name and state of every place in words, in path order; the same list is on the page."""
    title: str

    def svg(self) -> str:
        """Return the whole picture."""
        said = "; ".join(f"{name}: {state}" for _, name, state in self.words)
        return (
            f'<svg class="plan" role="img" aria-labelledby="plan-title plan-desc" '
            f'viewBox="0 0 {WIDTH} {self.height}"><title id="plan-title">{escape(self.title)}'
            f'</title><desc id="plan-desc">{escape(said)}</desc>{self.frame}'
            f"{''.join(self.groups.values())}</svg>"
        )


def plan(
    title: str, slots: Sequence[PlanSlot], *, pack: str = "", pack_line: str | Label = ""
) -> Plan:
    """Return the plan of a circuit type with what its places hold now.

    The pack is a box that came apart into places, so it is a line of words: `pack` is its slot,
    `pack_line` the words and, at every second place, what was read from its label.
    """
    by_where = {where: [slot for slot in slots if slot.where == where] for where in _ORDER}
    drainage, returns = _lines(by_where["drainage"]), _lines(by_where["return"])
    inside = Bench.of(by_where["fluid"], by_where["tray"])
    top = TOP + (sum(map(len, drainage)) - 1) * FOLD
    # Labels of the limb above push the inside down; labels inside push the return limb down.
    inside_top = top + 62 + LINE * (_deepest(drainage[-1][-1]) - 1)
    raised = raised_by(_limb([[returns[0][0]]], 0, reverse=True))
    inner = max(
        226,
        43 * len(by_where["link"]) + 90,
        inside_top - top + 101 + LINE * (inside.deepest - 1) + 43 + raised,
    )
    bottom = top + inner
    spots = _limb(drainage, TOP, reverse=False) + _limb(returns, bottom, reverse=True)
    spots += _stations(by_where, top, bottom) + _link(by_where["link"], top, bottom)
    spots += inside.spots(inside_top)
    below = max(_deepest(row) for row in returns[-1])
    height = bottom + (sum(map(len, returns)) - 1) * FOLD + max(74, 34 + LINE * below)
    order = {slot.id: index for index, slot in enumerate(_path_order(by_where))}
    spots.sort(key=lambda spot: order[spot.slot.id])
    rows_of = (tuple(map(len, drainage)), tuple(map(len, returns)))
    frame = Frame(*rows_of, top, bottom, inside_top, raised)
    groups = {spot.slot.id: _group(spot) for spot in spots}
    if pack:
        groups[pack] = frame.pack(
            pack, (pack_line,) if isinstance(pack_line, str) else pack_line, inside
        )
    return Plan(
        height=height,
        frame=frame.svg(by_where, inside),
        groups=groups,
        words=tuple((spot.slot.id, spot.slot.name, state_words(spot.slot)) for spot in spots),
        title=f"Circuit plan, {title}",
    )


_ORDER: Final = ("drainage", "pump", "link", "oxygenator", "gas", "return", "fluid", "tray")


def state_words(slot: PlanSlot) -> str:
    """Return what the place holds in words: "recorded, empty"."""
    return ", ".join(WORDS.get(state, state) for state in slot.states)


def _path_order(by_where: dict[str, list[PlanSlot]]) -> list[PlanSlot]:
    return [slot for where in _ORDER for slot in by_where[where]]


def _lines(slots: list[PlanSlot]) -> list[list[list[PlanSlot]]]:
    """Return a limb's lines, each folded into rows of at most six places."""
    numbers = sorted({slot.line for slot in slots}) or [1]
    return [_rows([slot for slot in slots if slot.line == number]) for number in numbers]


def _rows(slots: list[PlanSlot]) -> list[list[PlanSlot]]:
    """Fold a line that would be too crowded."""
    if not slots:
        return [[]]
    rows = -(-len(slots) // ON_ONE_ROW)
    each = -(-len(slots) // rows)
    return [slots[start : start + each] for start in range(0, len(slots), each)]


def _step(row: list[PlanSlot]) -> float:
    """Return how far the places of a row stand from each other."""
    return (RIGHT - LEFT - 40) / (len(row) + 0.34)


def _labels(row: list[PlanSlot]) -> list[tuple[Line, ...]]:
    room = _step(row) * 0.97
    return [lines_under(slot, room) for slot in row]


def _deepest(row: list[PlanSlot]) -> int:
    """Return how many lines the deepest label of a row has; at least one."""
    return max(map(len, _labels(row)), default=1)


def _limb(lines: list[list[list[PlanSlot]]], top: float, *, reverse: bool) -> list[Spot]:
    spots, y = [], top
    for rows in lines:
        for row_no, row in enumerate(rows):
            step = _step(row)
            places = [LEFT + step * (j + 0.75) for j in range(len(row))]
            # The last row of a drainage line runs right to the pump; the first row of a return
            # line runs left from the oxygenator. Rows between turn round at the end.
            backwards = row_no % 2 == 0 if reverse else (len(rows) - 1 - row_no) % 2 == 1
            across = places[::-1] if backwards else places
            for slot, x, label in zip(row, across, _labels(row), strict=True):
                gap = min(46, step * 0.8 / max(slot.count, 1))
                spots.append(Spot(slot, x, y, x, y + 45, label, gap=gap))
            y += FOLD
    return spots


def _stations(by_where: dict[str, list[PlanSlot]], top: float, bottom: float) -> list[Spot]:
    """Stand the pump and the oxygenator, with whatever else a type has there beside them."""
    spots = []
    for j, slot in enumerate(by_where["pump"]):
        x, size = (RIGHT, 40) if j == 0 else (RIGHT + 66, 24)
        label = RIGHT + (56 if j == 0 else 84)
        y = top + j * 26
        spots.append(_side(slot, x, y, label, y + 7, size=size))
    for j, slot in enumerate(by_where["oxygenator"]):
        x, size = (RIGHT, 40) if j == 0 else (RIGHT + 66, 24)
        label = RIGHT + (58 if j == 0 else 84)
        y = bottom if j == 0 else bottom - 24 - 26 * j
        spots.append(_side(slot, x, y, label, bottom - 24 - 26 * j, size=size))
    for j, slot in enumerate(by_where["gas"]):
        x = RIGHT + 92 + 130 * j
        y = bottom + 12
        spots.append(_side(slot, x, y, x + 28 + 40 * (slot.count - 1), y + 7, size=40))
    return spots


def _side(
    slot: PlanSlot, x: float, y: float, label_x: float, label_y: float, *, size: float
) -> Spot:
    """Return a place whose label stands on its right."""
    lines = line_beside(slot, WIDTH - label_x - 4)
    return Spot(slot, x, y, label_x, label_y, lines, anchor="start", gap=size * 1.1, size=size)


def _link(slots: list[PlanSlot], top: float, bottom: float) -> list[Spot]:
    count, middle = len(slots), (top + bottom - 10) / 2
    spots = []
    for j, slot in enumerate(slots):
        y = middle + (j - (count - 1) / 2) * 43
        label = RIGHT + 34 + 38 * (slot.count - 1)
        spots.append(_side(slot, RIGHT, y, label, y + 6, size=34))
    return spots


def _group(spot: Spot) -> str:
    slot, out = spot.slot, []
    shown = slot.states
    first = spot.x - (len(shown) - 1) * spot.gap / 2 if spot.anchor == "middle" else spot.x
    if spot.bags:
        out += [_bag(first + j * spot.gap - 25, spot.y - 40) for j in range(len(shown))]
    size = min(spot.size, spot.gap * 0.95) if len(shown) > 1 else spot.size
    aimed = next((j for j, kind in enumerate(shown) if kind in {"open", "untick"}), None)
    for j, kind in enumerate(shown):
        x = first + j * spot.gap
        hit = (slot.next or slot.selected) and j == aimed
        out.append(f'<circle class="hole" cx="{x:.1f}" cy="{spot.y:.1f}" r="{size * 0.47:.1f}"/>')
        out.append(placed(kind, x, spot.y, size))
        if hit:
            radius = 25 if size >= FULL else 21
            out.append(f'<circle class="aim" cx="{x:.1f}" cy="{spot.y:.1f}" r="{radius}"/>')
    out.append(_label(spot))
    told = f"{slot.name}: {state_words(slot)}"
    return (
        f'<g id="slot-{escape(slot.id)}" class="slot" data-slot="{escape(slot.id)}">'
        f"<title>{escape(told)}</title>{''.join(out)}</g>"
    )


def _bag(x: float, y: float) -> str:
    return (
        f'<path class="bag" d="M{x + 25:.1f} {y - 6:.1f}v8M{x + 6:.1f} {y + 2:.1f}h38q6 0 6 6v54'
        f'q0 10-10 10h-30q-10 0-10-10v-54q0-6 6-6zM{x + 25:.1f} {y + 72:.1f}v8"/>'
    )


def _label(spot: Spot) -> str:
    return "".join(
        f'<text x="{spot.label_x:.1f}" y="{spot.label_y + index * LINE:.1f}" '
        f'text-anchor="{spot.anchor}" class="{line.css}">{escape(line.text)}{_tail(line)}</text>'
        for index, line in enumerate(spot.lines)
    )


def _tail(line: Line) -> str:
    if not line.tail:
        return ""
    return f'<tspan class="n" font-size="{COUNT}" dx="{DASH}">{escape(line.tail)}</tspan>'
