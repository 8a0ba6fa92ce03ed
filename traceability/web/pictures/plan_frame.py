"""What stands still on a plan: the line, the stations, bags and tray, and the words beside them."""

from dataclasses import dataclass
from html import escape

from traceability.web.pictures.plan_labels import (
    FAR,
    FOLD,
    LEFT,
    LETTER,
    RIGHT,
    TOP,
    PlanSlot,
    lines_under,
)


@dataclass(frozen=True, slots=True)
class Spot:
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
class Bench:
    """Bags and tray, side by side inside the loop."""

    places: tuple[tuple[PlanSlot, float, float], ...]
    """Slot, middle and width of each."""
    tray_from: float
    deepest: int

    @staticmethod
    def of(fluids: list[PlanSlot], tray: list[PlanSlot]) -> "Bench":
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
            (len(lines_under(slot, int(wide / LETTER))) for slot, _, wide in places), default=1
        )
        return Bench(tuple(places), start, deepest)

    def spots(self, y: float) -> list[Spot]:
        """Stand them at the given height."""
        found = []
        for slot, x, wide in self.places:
            bag = slot.where == "fluid"
            gap = min(62 if bag else 42, wide * 0.9 / max(len(slot.states), 1))
            lines = lines_under(slot, int(wide / LETTER))
            at = y + (40 if bag else 52)
            found.append(Spot(slot, x, at, x, y + 101, lines, gap=gap, bags=bag))
        return found


@dataclass(frozen=True, slots=True)
class Frame:
    """The line that blood passes along, its stations, and the words beside it."""

    drainage_rows: int
    return_rows: int
    top: float
    bottom: float
    inside: float

    def svg(self, by_where: dict[str, list[PlanSlot]], inside: Bench) -> str:
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
        return "".join(out)

    def pack(self, slot_id: str, line: str, inside: Bench) -> str:
        """Return the line of words that stands for the circuit pack."""
        x, y = inside.tray_from - 30, self.inside
        return (
            f'<g id="slot-{escape(slot_id)}" class="slot" data-slot="{escape(slot_id)}">'
            f'<path class="pkb" d="M{x:.0f} {y + 4}v16h22v-16M{x - 4:.0f} {y - 2}l9 6h12l9-6"/>'
            f'<text x="{x + 34:.0f}" y="{y + 18}" class="pk">{escape(line)}</text></g>'
        )


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
