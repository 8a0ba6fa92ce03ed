"""How the places of a plan are named: wrapped to the room they have, never over a neighbour."""

from dataclasses import dataclass
from typing import Final

WIDTH: Final = 1240
LEFT, FAR, RIGHT = 14, 888, 948
"""Patient end, turning point of a folded limb, and the side where pump and oxygenator stand."""
TOP, FOLD, LINE = 60, 128, 20
LETTER: Final = 9.6
"""Width of a letter of a label, on average, at 19 units; measured in Liberation Sans."""


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


def lines_under(slot: PlanSlot, letters: int) -> tuple[tuple[str, str], ...]:
    """Return the label under a place: the name on one or two lines, then what is said of it."""
    said, css = _said(slot)
    lines = [(line, f"lb {css}") for line in wrap(slot.name, letters)]
    if said:
        lines.append((_cut(said, max(letters, 5)), f"sub {_small(css)}"))
    return tuple(lines)


def _small(css: str) -> str:
    """Return the class of the second line: only what is next, or waits, is in bold."""
    return css if css in {"look", "next"} else "cnt"


def line_beside(slot: PlanSlot, letters: int) -> tuple[tuple[str, str], ...]:
    """Return the label beside a place: on one line if that holds both, else on two."""
    said, css = _said(slot)
    if not said or len(f"{slot.name}, {said}") <= letters:
        tail = f", {said}" if said else ""
        return ((_cut(slot.name + tail, max(letters, 3)), f"lb {css}"),)
    return (
        (_cut(slot.name, max(letters, 3)), f"lb {css}"),
        (_cut(said, max(letters, 3)), f"sub {_small(css)}"),
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
