"""What stands still on a plan: the line, the stations, bags and tray, and the words beside them."""

from dataclasses import dataclass
from html import escape
from typing import Final

from traceability.web.pictures.letters import SPARE, Label, label_svg, wide
from traceability.web.pictures.plan_labels import (
    CAPTION,
    FAR,
    FOLD,
    LEFT,
    NAME,
    RIGHT,
    TOP,
    Line,
    PlanSlot,
    lines_under,
)

RETURN_WORDS: Final = "return limb, pressure"
RETURN_AT: Final = 206
RAISED: Final = 16


@dataclass(frozen=True, slots=True)
class Spot:
    """Where a slot's beads stand and how its label is set."""

    slot: PlanSlot
    x: float
    y: float
    label_x: float
    label_y: float
    lines: tuple[Line, ...]
    anchor: str = "middle"
    gap: float = 46
    size: float = 40
    bags: bool = False


def raised_by(first_row: list[Spot]) -> float:
    """Return how much the words above the return limb have to rise, with these beads under them."""
    left, right = RETURN_AT - 18, RETURN_AT + wide(RETURN_WORDS, CAPTION) / SPARE
    for spot in first_row:
        half = (len(spot.slot.states) - 1) * spot.gap / 2 + (28 if spot.slot.next else 19)
        if spot.x - half < right and spot.x + half > left:
            return RAISED
    return 0


BETWEEN: Final = 22
"""Between the names of two bags, whatever face the browser finds."""


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
        most = (RIGHT - 110 - x) * (0.6 if tray else 1) / max(len(fluids), 1) - BETWEEN
        for slot in fluids:
            named = wide(slot.name, NAME, bold=slot.next)
            room = min(max(62 * len(slot.states), min(named, 220)), most)
            places.append((slot, x + room / 2, room))
            x += room + BETWEEN
        start = max(392.0, x + 10) if tray else x
        step = (RIGHT - 72 - start) / max(len(tray), 1)
        for j, slot in enumerate(tray):
            places.append((slot, start + step * (j + 0.5), step * 0.96))
        deepest = max((len(lines_under(slot, room)) for slot, _, room in places), default=1)
        return Bench(tuple(places), start, deepest)

    def spots(self, y: float) -> list[Spot]:
        """Stand them at the given height."""
        found = []
        for slot, x, room in self.places:
            bag = slot.where == "fluid"
            gap = min(62 if bag else 42, room * 0.9 / max(len(slot.states), 1))
            lines = lines_under(slot, room)
            at = y + (40 if bag else 52)
            found.append(Spot(slot, x, at, x, y + 101, lines, gap=gap, bags=bag))
        return found


@dataclass(frozen=True, slots=True)
class Frame:
    """The line that blood passes along, its stations, and the words beside it."""

    drainage: tuple[int, ...]
    """Rows of each drainage line, from the top."""
    returns: tuple[int, ...]
    """Rows of each return line, from the oxygenator down."""
    top: float
    bottom: float
    inside: float
    raised: float = 0
    """How much higher the words above the return limb stand, to be clear of its beads."""

    def svg(self, by_where: dict[str, list[PlanSlot]], inside: Bench) -> str:
        """Return everything that is not a place."""
        top, bottom, y, said = self.top, self.bottom, self.inside, self.bottom - self.raised
        suction, pressure = _suction(self.drainage), _pressure(self.returns, bottom)
        out = [
            *(f'<path class="dr1" d="{path}"/>' for path, _, _ in suction),
            *(f'<path class="dr2" d="{path}"/>' for path, _, _ in suction),
            f'<path class="rt" d="M{RIGHT} {top}V{bottom}"/>',
            *(f'<path class="rt" d="{path}"/>' for path, _, _ in pressure),
            *(
                f'<path class="endp" d="M{x} {end - 14}v28"/>'
                for _, x, end in (*suction, *pressure)
            ),
            f'<path class="arr" d="M{LEFT + 14} {TOP - 44}l10 6.5-10 6.5z"/>',
            f'<text x="{LEFT + 32}" y="{TOP - 32}" class="lim">drainage limb</text>',
            f'<text x="360" y="{TOP - 32}" class="lim str">suction: no taps, no open ports</text>',
            f'<path class="arr" d="M{RETURN_AT - 8} {said - 30}l-10 6.5 10 6.5z"/>',
            f'<text x="{RETURN_AT}" y="{said - 18}" class="lim">{RETURN_WORDS}</text>',
            f'<text x="{RIGHT + 58}" y="{bottom + 46}" class="lim str">after here, air goes</text>',
            f'<text x="{RIGHT + 58}" y="{bottom + 65}" class="lim str">to the patient</text>',
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
            right = max(x + room / 2 for slot, x, room in inside.places if slot.where == "fluid")
            out.append(f'<path class="hang" d="M36 {y - 6}H{right:.0f}"/>')
        if by_where["tray"]:
            out.append(
                f'<path class="tray" d="M{inside.tray_from - 6:.0f} {y + 62}v12q0 6 6 6'
                f'H{RIGHT - 78}q6 0 6-6v-12"/>'
            )
        return "".join(out)

    def pack(self, slot_id: str, line: Label, inside: Bench) -> str:
        """Return the line of words that stands for the circuit pack."""
        x, y = inside.tray_from - 30, self.inside
        return (
            f'<g id="slot-{escape(slot_id)}" class="slot" data-slot="{escape(slot_id)}">'
            f'<path class="pkb" d="M{x:.0f} {y + 4}v16h22v-16M{x - 4:.0f} {y - 2}l9 6h12l9-6"/>'
            f'<text x="{x + 34:.0f}" y="{y + 18}" class="pk">{label_svg(line)}</text></g>'
        )


def _suction(lines: tuple[int, ...]) -> list[tuple[str, float, float]]:
    """Return each drainage line's path, and where its patient end stands.

    The last one runs into the pump from the left, those above it from above.
    """
    found: list[tuple[str, float, float]] = []
    y = float(TOP)
    pump = TOP + FOLD * (sum(lines) - 1)
    for rows in lines:
        at_left = rows % 2 == 1
        start = (LEFT if at_left else FAR, y)
        path = f"M{start[0]} {y}"
        for row in range(rows):
            at_left = not at_left
            last = row == rows - 1
            path += f"H{RIGHT if last else LEFT if at_left else FAR}" + ("" if last else f"v{FOLD}")
        found.append((path if y + FOLD * rows > pump else f"{path}V{pump}", *start))
        y += FOLD * rows
    return found


def _pressure(lines: tuple[int, ...], bottom: float) -> list[tuple[str, float, float]]:
    """Return each return line's path from the oxygenator on, and where its patient end stands."""
    found: list[tuple[str, float, float]] = []
    y = bottom
    for rows in lines:
        path = f"M{RIGHT} {bottom}V{y}H{LEFT}"
        for row in range(1, rows):
            path += f"v{FOLD}H{FAR if row % 2 else LEFT}"
        found.append((path, FAR if rows % 2 == 0 else LEFT, y + FOLD * (rows - 1)))
        y += FOLD * rows
    return found
