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

from traceability.web.pictures.marks import WORDS, placed

WIDTH: Final = 1240
LEFT, FAR, RIGHT = 14, 888, 948
"""Patient end, turning point of a folded limb, and the side where pump and oxygenator stand."""
TOP, FOLD, LINE = 60, 128, 20
LETTER: Final = 9.6
"""Width of a letter of a label, on average, at 19 units; measured in Liberation Sans."""
ON_ONE_ROW: Final = 6
FULL: Final = 40
"""Size of a bead that is not squeezed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanSlot:
    """One place as the plan draws it."""

    id: str
    name: str
    where: str
    count: int
    tick_only: bool
    states: tuple[str, ...]
    """One mark per part: whole, half, open, cup, wait, off, tick, untick."""
    next: bool = False
    selected: bool = False


@dataclass(frozen=True, slots=True)
class _Spot:
    """Where a slot's beads stand and how its label is set."""

    slot: PlanSlot
    x: float
    y: float
    label_x: float
    label_y: float
    lines: tuple[tuple[str, str], ...]
    """Text and class of each line of the label."""
    anchor: str = "middle"
    gap: float = 46
    size: float = 40
    bags: bool = False


@dataclass(frozen=True, slots=True)
class Plan:
    """The drawing: its frame and one group a place, so that a scan replaces one group only."""

    height: float
    frame: str
    groups: dict[str, str]
    words: tuple[tuple[str, str], ...]
    """Name and state of every place in words, in path order; the same list is on the page."""
    title: str

    def svg(self) -> str:
        """Return the whole picture."""
        said = "; ".join(f"{name}: {state}" for name, state in self.words)
        return (
            f'<svg class="plan" role="img" aria-labelledby="plan-title plan-desc" '
            f'viewBox="0 0 {WIDTH} {self.height}"><title id="plan-title">{escape(self.title)}'
            f'</title><desc id="plan-desc">{escape(said)}</desc>{self.frame}'
            f"{''.join(self.groups.values())}</svg>"
        )


def plan(title: str, slots: Sequence[PlanSlot], pack_line: str = "") -> Plan:
    """Return the plan of a circuit type with what its places hold now."""
    by_where = {where: [slot for slot in slots if slot.where == where] for where in _ORDER}
    drainage, returns = _rows(by_where["drainage"]), _rows(by_where["return"])
    inside = _Inside.of(by_where["fluid"], by_where["tray"])
    top = TOP + (len(drainage) - 1) * FOLD
    # Labels of the limb above push the inside down; labels inside push the return limb down.
    inside_top = top + 62 + LINE * (_deepest(drainage[-1], _limb_letters(drainage[-1])) - 1)
    inner = max(
        226,
        46 * len(by_where["link"]) + 70,
        inside_top - top + 101 + LINE * inside.deepest + 43,
    )
    bottom = top + inner
    spots = _limb(drainage, TOP, reverse=False) + _limb(returns, bottom, reverse=True)
    spots += _stations(by_where, top, bottom) + _link(by_where["link"], top, bottom)
    spots += inside.spots(inside_top)
    below = max(_deepest(row, _limb_letters(row)) for row in returns)
    height = bottom + (len(returns) - 1) * FOLD + max(84, 50 + LINE * below)
    order = {slot.id: index for index, slot in enumerate(_path_order(by_where))}
    spots.sort(key=lambda spot: order[spot.slot.id])
    frame = _Frame(len(drainage), len(returns), top, bottom, inside_top)
    return Plan(
        height=height,
        frame=frame.svg(by_where, inside, pack_line),
        groups={spot.slot.id: _group(spot) for spot in spots},
        words=tuple((spot.slot.name, state_words(spot.slot)) for spot in spots),
        title=f"Circuit plan, {title}",
    )


_ORDER: Final = ("drainage", "pump", "link", "oxygenator", "gas", "return", "fluid", "tray")


def state_words(slot: PlanSlot) -> str:
    """Return what the place holds in words: "recorded, empty"."""
    return ", ".join(WORDS.get(state, state) for state in slot.states)


def _path_order(by_where: dict[str, list[PlanSlot]]) -> list[PlanSlot]:
    return [slot for where in _ORDER for slot in by_where[where]]


def _rows(slots: list[PlanSlot]) -> list[list[PlanSlot]]:
    """Fold a limb that would be too crowded into rows of at most six places."""
    if not slots:
        return [[]]
    rows = -(-len(slots) // ON_ONE_ROW)
    each = -(-len(slots) // rows)
    return [slots[start : start + each] for start in range(0, len(slots), each)]


def _room(row: list[PlanSlot]) -> float:
    """Return the width that each place of a row has to itself."""
    return (RIGHT - LEFT - 60) / (len(row) + 0.34)


def _limb_letters(row: list[PlanSlot]) -> int:
    return int(_room(row) * 0.97 / LETTER)


def _deepest(row: list[PlanSlot], letters: int) -> int:
    """Return how many lines the deepest label of a row has; at least one."""
    return max((len(_lines(slot, letters)) for slot in row), default=1)


def _limb(rows: list[list[PlanSlot]], y: float, *, reverse: bool) -> list[_Spot]:
    spots = []
    for row_no, row in enumerate(rows):
        room, letters = _room(row), _limb_letters(row)
        places = [LEFT + room * (j + 0.75) for j in range(len(row))]
        # The last drainage row runs right to the pump; the first return row runs left from the
        # oxygenator. Rows between turn round at the end.
        backwards = row_no % 2 == 0 if reverse else (len(rows) - 1 - row_no) % 2 == 1
        for slot, x in zip(row, places[::-1] if backwards else places, strict=True):
            gap = min(46, room * 0.8 / max(slot.count, 1))
            at = y + row_no * FOLD
            spots.append(_Spot(slot, x, at, x, at + 45, _lines(slot, letters), gap=gap))
    return spots


def _stations(by_where: dict[str, list[PlanSlot]], top: float, bottom: float) -> list[_Spot]:
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
) -> _Spot:
    """Return a place whose label stands on its right."""
    letters = int((WIDTH - label_x - 4) / LETTER)
    lines = _beside(slot, letters)
    return _Spot(slot, x, y, label_x, label_y, lines, anchor="start", gap=size * 1.1, size=size)


def _link(slots: list[PlanSlot], top: float, bottom: float) -> list[_Spot]:
    count, middle = len(slots), (top + bottom - 10) / 2
    spots = []
    for j, slot in enumerate(slots):
        y = middle + (j - (count - 1) / 2) * 43
        label = RIGHT + 34 + 38 * (slot.count - 1)
        spots.append(_side(slot, RIGHT, y, label, y + 6, size=34))
    return spots


@dataclass(frozen=True, slots=True)
class _Inside:
    """Bags and tray, side by side inside the loop."""

    places: tuple[tuple[PlanSlot, float, float], ...]
    """Slot, middle and width of each."""
    tray_from: float
    deepest: int

    @staticmethod
    def of(fluids: list[PlanSlot], tray: list[PlanSlot]) -> "_Inside":
        """Share the width out: bags take what they need, the tray has the rest."""
        places, x = [], 40.0
        most = (RIGHT - 110 - x) * (0.6 if tray else 1) / max(len(fluids), 1) - 12
        for slot in fluids:
            wide = min(max(62 * len(slot.states), min(len(slot.name), 22) * LETTER), most)
            places.append((slot, x + wide / 2, wide))
            x += wide + 12
        start = max(392.0, x + 10) if tray else x
        step = (RIGHT - 72 - start) / max(len(tray), 1)
        for j, slot in enumerate(tray):
            places.append((slot, start + step * (j + 0.5), step * 0.96))
        deepest = max(
            (len(_lines(slot, int(wide / LETTER))) for slot, _, wide in places), default=1
        )
        return _Inside(tuple(places), start, deepest)

    def spots(self, y: float) -> list[_Spot]:
        """Stand them at the given height."""
        found = []
        for slot, x, wide in self.places:
            bag = slot.where == "fluid"
            gap = min(62 if bag else 42, wide * 0.9 / max(len(slot.states), 1))
            lines = _lines(slot, int(wide / LETTER))
            at = y + (40 if bag else 52)
            found.append(_Spot(slot, x, at, x, y + 101, lines, gap=gap, bags=bag))
        return found


def _group(spot: _Spot) -> str:
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
        out.append(placed("open" if kind == "cup" else kind, x, spot.y, size))
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


def _label(spot: _Spot) -> str:
    return "".join(
        f'<text x="{spot.label_x:.1f}" y="{spot.label_y + index * LINE:.1f}" '
        f'text-anchor="{spot.anchor}" class="{css}">{escape(text)}</text>'
        for index, (text, css) in enumerate(spot.lines)
    )


def _said(slot: PlanSlot) -> tuple[str, str]:
    """Return what stands behind a name ("2 of 4 · next") and the class that goes with it."""
    done = sum(kind not in {"open", "untick", "wait"} for kind in slot.states)
    waits = slot.states.count("wait")
    full = done >= slot.count
    count = f"{done} of {slot.count}" if slot.count > 1 and not (slot.tick_only and full) else ""
    word = "waits" if waits else "next" if slot.next else ""
    if slot.tick_only and full:
        word = "tick only"
    css = "look" if waits else "next" if slot.next else "done" if full else ""
    return " · ".join(each for each in (count, word) if each), css


def _lines(slot: PlanSlot, letters: int) -> tuple[tuple[str, str], ...]:
    """Return the label under a place: the name on one or two lines, then what is said of it."""
    said, css = _said(slot)
    lines = [(line, f"lb {css}") for line in wrap(slot.name, letters)]
    if said:
        lines.append((_cut(said, max(letters, 5)), f"sub {css or 'cnt'}"))
    return tuple(lines)


def _beside(slot: PlanSlot, letters: int) -> tuple[tuple[str, str], ...]:
    """Return the label beside a place: on one line if that holds both, else on two."""
    said, css = _said(slot)
    if not said or len(f"{slot.name}, {said}") <= letters:
        tail = f", {said}" if said else ""
        return ((_cut(slot.name + tail, max(letters, 3)), f"lb {css}"),)
    return (
        (_cut(slot.name, max(letters, 3)), f"lb {css}"),
        (_cut(said, max(letters, 3)), f"sub {css or 'cnt'}"),
    )


def wrap(name: str, letters: int) -> list[str]:
    """Return the name on one line, or on two; what is longer ends in a sign that it was cut.

    The whole name stands in the picture's description and in the list beside it.
    """
    most = max(letters, 3)
    if len(name) <= most:
        return [name]
    first = name[: most + 1].rpartition(" ")[0] or name[:most]
    rest = name[len(first) :].strip()
    return [_cut(line, most) for line in (first, rest) if line]


def _cut(line: str, most: int) -> str:
    return line if len(line) <= most else f"{line[: most - 1].rstrip()}…"


@dataclass(frozen=True, slots=True)
class _Frame:
    """The line that blood passes along, its stations, and the words beside it."""

    drainage_rows: int
    return_rows: int
    top: float
    bottom: float
    inside: float

    def svg(self, by_where: dict[str, list[PlanSlot]], inside: _Inside, pack_line: str) -> str:
        """Return everything that is not a place."""
        top, bottom, y = self.top, self.bottom, self.inside
        starts = LEFT if self.drainage_rows % 2 else FAR
        out = [
            _suction(self.drainage_rows),
            f'<path class="rt" d="M{RIGHT} {top}V{bottom}{_fold_back(self.return_rows, bottom)}"/>',
            f'<path class="endp" d="M{starts} {TOP - 14}v28"/>',
            f'<path class="arr" d="M{LEFT + 14} {TOP - 44}l10 6.5-10 6.5z"/>',
            f'<text x="{LEFT + 32}" y="{TOP - 32}" class="lim">drainage limb</text>',
            f'<text x="360" y="{TOP - 32}" class="lim str">suction: no taps, no open ports</text>',
            f'<path class="arr" d="M206 {bottom - 30}l-10 6.5 10 6.5z"/>',
            f'<text x="214" y="{bottom - 18}" class="lim">return limb, pressure</text>',
            f'<text x="{RIGHT + 58}" y="{bottom + 58}" class="lim str">after here, air goes</text>',
            f'<text x="{RIGHT + 58}" y="{bottom + 77}" class="lim str">to the patient</text>',
            f'<circle class="st1" cx="{RIGHT}" cy="{top}" r="42"/>',
            f'<path class="st2" d="M{RIGHT - 30} {top + 9}A31 31 0 1 1 {RIGHT + 9} {top + 30}"/>',
            f'<rect class="st1" x="{RIGHT - 46}" y="{bottom - 52}" '
            'width="92" height="104" rx="4"/>',
        ]
        out += [
            f'<path class="st3" d="M{RIGHT - 34 + k * 11.3:.1f} {bottom - 42}v84"/>'
            for k in range(7)
        ]
        if by_where["gas"]:
            out.append(f'<path class="gas" d="M{RIGHT + 46} {bottom + 12}H{RIGHT + 76}"/>')
        if by_where["fluid"]:
            right = max(x + wide / 2 for slot, x, wide in inside.places if slot.where == "fluid")
            out.append(f'<path class="hang" d="M36 {y - 6}H{right:.0f}"/>')
        if by_where["tray"]:
            out.append(
                f'<path class="tray" d="M{inside.tray_from - 6:.0f} {y + 62}v12q0 6 6 6'
                f'H{RIGHT - 78}q6 0 6-6v-12"/>'
            )
        if pack_line:
            x = inside.tray_from - 30
            out.append(
                f'<path class="pkb" d="M{x:.0f} {y + 4}v16h22v-16M{x - 4:.0f} {y - 2}l9 6h12l9-6"/>'
                f'<text x="{x + 34:.0f}" y="{y + 18}" class="pk">{escape(pack_line)}</text>'
            )
        return "".join(out)


def _suction(rows: int) -> str:
    ends = [LEFT, FAR]
    side = 0 if rows % 2 else 1
    path = f"M{ends[side]} {TOP}"
    for row in range(rows):
        side = 1 - side
        last = row == rows - 1
        path += f"H{RIGHT if last else ends[side]}" + ("" if last else f"v{FOLD}")
    return f'<path class="dr1" d="{path}"/><path class="dr2" d="{path}"/>'


def _fold_back(rows: int, bottom: float) -> str:
    path = f"H{LEFT}"
    for row in range(1, rows):
        path += f"V{bottom + row * FOLD}H{FAR if row % 2 else LEFT}"
    return path
