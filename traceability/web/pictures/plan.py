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
TOP, BAGS, FOLD = 50, 112, 128
LETTER: Final = 9.6
"""Width of a letter of a label, on average, at 19 units; measured in Liberation Sans."""
LONG_NAME: Final = 16
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
    anchor: str = "middle"
    gap: float = 46
    size: float = 40
    count_below: bool = False
    letters: int = 28
    bags: bool = False


@dataclass(frozen=True, slots=True)
class Plan:
    """The drawing: its frame and one group a place, so that a scan replaces one group only."""

    height: int
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
    drainage = _rows(by_where["drainage"])
    returns = _rows(by_where["return"])
    link = by_where["link"]
    inner = max(226, 46 * len(link) + 70)
    top = TOP + (len(drainage) - 1) * FOLD
    bottom = top + inner
    spots = _limb(drainage, TOP, reverse=False) + _limb(returns, bottom, reverse=True)
    spots += _stations(by_where, top, bottom) + _link(link, top, bottom)
    spots += _inside(by_where, top)
    height = bottom + (len(returns) - 1) * FOLD + 74
    order = {slot.id: index for index, slot in enumerate(_path_order(by_where))}
    spots.sort(key=lambda spot: order[spot.slot.id])
    return Plan(
        height=height,
        frame=_frame(len(drainage), len(returns), top, bottom, by_where, pack_line),
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


def _limb(rows: list[list[PlanSlot]], y: float, *, reverse: bool) -> list[_Spot]:
    spots = []
    for row_no, row in enumerate(rows):
        count = len(row)
        places = [LEFT + (RIGHT - LEFT - 60) * (j + 0.75) / (count + 0.34) for j in range(count)]
        # The last drainage row runs right to the pump; the first return row runs left from the
        # oxygenator. Rows between turn round at the end.
        backwards = row_no % 2 == 0 if reverse else (len(rows) - 1 - row_no) % 2 == 1
        room = (RIGHT - LEFT - 60) / (count + 0.34)
        for slot, x in zip(row, places[::-1] if backwards else places, strict=True):
            gap = min(46, room * 0.8 / max(slot.count, 1))
            row_y = y + row_no * FOLD
            spots.append(_Spot(slot, x, row_y, x, row_y + 45, gap=gap, letters=int(room / LETTER)))
    return spots


def _stations(by_where: dict[str, list[PlanSlot]], top: float, bottom: float) -> list[_Spot]:
    spots = []
    for j, slot in enumerate(by_where["pump"]):
        y = top + j * 26
        size = 40 if j == 0 else 24
        x = RIGHT if j == 0 else RIGHT + 64
        spots.append(_Spot(slot, x, y, RIGHT + 56 + 26 * bool(j), y + 7, "start", size=size))
    for j, slot in enumerate(by_where["oxygenator"]):
        y = bottom if j == 0 else bottom - 46
        x = RIGHT if j == 0 else RIGHT + 66
        spots.append(
            _Spot(
                slot,
                x,
                y,
                RIGHT + 58 + 26 * bool(j),
                bottom - 24 - 24 * j,
                "start",
                size=40 if j == 0 else 24,
            )
        )
    for j, slot in enumerate(by_where["gas"]):
        y = bottom + 12 + j * 40
        spots.append(_Spot(slot, RIGHT + 92, y, RIGHT + 120, y + 7, "start"))
    return spots


def _link(slots: list[PlanSlot], top: float, bottom: float) -> list[_Spot]:
    count, middle = len(slots), (top + bottom - 10) / 2
    return [
        _Spot(
            slot,
            RIGHT,
            middle + (j - (count - 1) / 2) * 43,
            RIGHT + 34 + 40 * (slot.count - 1),
            middle + (j - (count - 1) / 2) * 43 + 6,
            "start",
            gap=38,
            size=34,
        )
        for j, slot in enumerate(slots)
    ]


def _inside(by_where: dict[str, list[PlanSlot]], top: float) -> list[_Spot]:
    spots, x, y = [], 46.0, top + BAGS - TOP
    for slot in by_where["fluid"]:
        width = max(62 * max(slot.count, 1), min(len(slot.name), 22) * LETTER)
        middle = x + width / 2
        spots.append(
            _Spot(
                slot,
                middle,
                y + 40,
                middle,
                y + 101,
                gap=62,
                count_below=True,
                letters=22,
                bags=True,
            )
        )
        x += width + 34
    tray = by_where["tray"]
    start = max(392.0, x + 10)
    step = (RIGHT - 78 - start) / max(len(tray), 1)
    for j, slot in enumerate(tray):
        at = start + step * (j + 0.5)
        gap = min(42, step * 0.85 / max(slot.count, 1))
        spots.append(
            _Spot(
                slot,
                at,
                y + 52,
                at,
                y + 101,
                gap=gap,
                count_below=True,
                letters=int(step / LETTER),
            )
        )
    return spots


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
    slot = spot.slot
    done = sum(kind not in {"open", "untick", "wait"} for kind in slot.states)
    waits = slot.states.count("wait")
    full = done >= slot.count
    count = f"{done} of {slot.count}" if slot.count > 1 and not (slot.tick_only and full) else ""
    said = "waits" if waits else "next" if slot.next else ""
    if slot.tick_only and full:
        said = "tick only"
    css = "look" if waits else "next" if slot.next else "done" if full else ""
    lines = wrap(slot.name, spot.letters)
    if len(lines) == 1 and not spot.count_below and count:
        lines[0] += f" {count}"
        count = ""
    below = " · ".join(word for word in (count, said) if word)
    if spot.anchor == "start" and below and len(lines) == 1:
        lines[0], below = f"{lines[0]}, {below}", ""
    out = []
    for index, line in enumerate(lines):
        y = spot.label_y + index * 20
        out.append(
            f'<text x="{spot.label_x:.1f}" y="{y:.1f}" text-anchor="{spot.anchor}" '
            f'class="lb {css}">{escape(line)}</text>'
        )
    if below:
        y = spot.label_y + len(lines) * 20
        out.append(
            f'<text x="{spot.label_x:.1f}" y="{y:.1f}" text-anchor="{spot.anchor}" '
            f'class="sub {css or "cnt"}">{escape(below)}</text>'
        )
    return "".join(out)


def wrap(name: str, letters: int) -> list[str]:
    """Return the name on one line, or on two where it would run into its neighbour."""
    if len(name) <= max(letters, 4) or (len(name) <= LONG_NAME and letters >= LONG_NAME):
        return [name]
    words, first = name.split(" "), ""
    while words and len(f"{first} {words[0]}".strip()) <= max(len(name) // 2 + 2, len(words[0])):
        first = f"{first} {words.pop(0)}".strip()
        if len(first) >= len(name) / 2:
            break
    rest = " ".join(words)
    most = max(letters, 4)
    return [_cut(line, most) for line in (first, rest) if line]


def _cut(line: str, most: int) -> str:
    return line if len(line) <= most else f"{line[: most - 1]}…"


def _frame(
    drainage_rows: int,
    return_rows: int,
    top: float,
    bottom: float,
    by_where: dict[str, list[PlanSlot]],
    pack_line: str,
) -> str:
    out = [
        _suction(drainage_rows),
        f'<path class="rt" d="M{RIGHT} {top}V{bottom}{_fold_back(return_rows, bottom)}"/>',
        f'<path class="endp" d="M{LEFT if drainage_rows % 2 else FAR} {TOP - 14}v28"/>',
        f'<path class="arr" d="M{LEFT + 14} {TOP - 29}l10 6.5-10 6.5z"/>',
        f'<text x="{LEFT + 32}" y="{TOP - 17}" class="lim">drainage limb</text>',
        f'<text x="360" y="{TOP - 17}" class="lim str">suction: no taps, no open ports</text>',
        f'<path class="arr" d="M206 {bottom - 30}l-10 6.5 10 6.5z"/>',
        f'<text x="214" y="{bottom - 18}" class="lim">return limb, pressure</text>',
        f'<text x="{RIGHT + 58}" y="{bottom + 48}" class="lim str">after here, air goes</text>',
        f'<text x="{RIGHT + 58}" y="{bottom + 67}" class="lim str">to the patient</text>',
        f'<circle class="st1" cx="{RIGHT}" cy="{top}" r="42"/>',
        f'<path class="st2" d="M{RIGHT - 30} {top + 9}A31 31 0 1 1 {RIGHT + 9} {top + 30}"/>',
        f'<rect class="st1" x="{RIGHT - 46}" y="{bottom - 52}" width="92" height="104" rx="4"/>',
    ]
    out += [
        f'<path class="st3" d="M{RIGHT - 34 + k * 11.3:.1f} {bottom - 42}v84"/>' for k in range(7)
    ]
    if by_where["gas"]:
        out.append(f'<path class="gas" d="M{RIGHT + 46} {bottom + 12}H{RIGHT + 76}"/>')
    if by_where["fluid"]:
        out.append(f'<path class="hang" d="M36 {top + BAGS - TOP - 6}H330"/>')
    y = top + BAGS - TOP
    if by_where["tray"]:
        start = 386
        out.append(
            f'<path class="tray" d="M{start} {y + 62}v12q0 6 6 6H{RIGHT - 72}q6 0 6-6v-12"/>'
        )
    if pack_line:
        out.append(
            f'<path class="pkb" d="M362 {y + 4}v16h22v-16M358 {y - 2}l9 6h12l9-6"/>'
            f'<text x="396" y="{y + 18}" class="pk">{escape(pack_line)}</text>'
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
