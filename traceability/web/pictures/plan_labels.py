"""How the places of a plan are named: wrapped to the room they have, never over a neighbour."""

from dataclasses import dataclass
from typing import Final

from traceability.web.pictures.letters import cut, wide

WIDTH: Final = 1240
LEFT, FAR, RIGHT = 14, 888, 948
"""Patient end, turning point of a folded limb, and the side where pump and oxygenator stand."""
TOP, FOLD, LINE = 60, 128, 20
NAME, SAID, COUNT, CAPTION = 19, 17, 16, 16
"""Sizes of letters: a name, what is said beneath it, a count behind it, words on the drawing. The
same stand in trolley.css."""
DASH: Final = 6
"""Room between a name and the count behind it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanSlot:
    """One place as the plan draws it."""

    id: str
    name: str
    where: str
    count: int
    tick_only: bool
    states: tuple[str, ...]
    """One mark per part: whole, half, open, cup, gap, wait, off, tick, untick."""
    next: bool = False
    selected: bool = False
    line: int = 1
    """Which of several drainage or return lines it lies on."""


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a label."""

    text: str
    css: str
    tail: str = ""
    """A count in smaller letters behind the name."""

    @property
    def size(self) -> int:
        """The size of its letters."""
        return NAME if self.css.startswith("lb") else SAID

    @property
    def wide(self) -> float:
        """The room it needs."""
        bold = self.css in {"lb next", "sub next", "sub look"}
        tail = DASH + wide(self.tail, COUNT, bold=bold) if self.tail else 0
        return wide(self.text, self.size, bold=bold) + tail


def _said(slot: PlanSlot) -> tuple[str, str, str]:
    """Return the count ("2 of 4"), the word ("next") and the class that goes with them."""
    done = sum(kind not in {"open", "untick", "wait"} for kind in slot.states)
    waits = slot.states.count("wait")
    full = done >= slot.count
    count = f"{done} of {slot.count}" if slot.count > 1 and not (slot.tick_only and full) else ""
    word = "waits" if waits else "next" if slot.next else ""
    if slot.tick_only and full:
        word = "tick only"
    css = "look" if waits else "next" if slot.next else "done" if full else ""
    return count, word, css


def lines_under(slot: PlanSlot, room: float) -> tuple[Line, ...]:
    """Return the label under a place: the name on one or two lines, then what is said of it.

    A count stands behind the name where both have room and nothing else is said.
    """
    count, word, css = _said(slot)
    if count and not word:
        whole = Line(slot.name, f"lb {css}".rstrip(), count)
        if whole.wide <= room:
            return (whole,)
    lines = [Line(text, f"lb {css}".rstrip()) for text in wrap(slot.name, room, css == "next")]
    said = " · ".join(each for each in (count, word) if each)
    return (*lines, *_beneath(said, css, room))


def line_beside(slot: PlanSlot, room: float) -> tuple[Line, ...]:
    """Return the label beside a place: on one line if that holds all, else on two."""
    count, word, css = _said(slot)
    said = " · ".join(each for each in (count, word) if each)
    whole = Line(f"{slot.name}, {said}" if said else slot.name, f"lb {css}".rstrip())
    if whole.wide <= room:
        return (whole,)
    name = cut(slot.name, room, NAME, bold=css == "next")
    return (Line(name, f"lb {css}".rstrip()), *_beneath(said, css, room))


def _beneath(said: str, css: str, room: float) -> tuple[Line, ...]:
    if not said:
        return ()
    shown = css if css in {"look", "next"} else "cnt"
    return (Line(cut(said, room, SAID, bold=shown != "cnt"), f"sub {shown}"),)


def wrap(name: str, room: float, bold: bool = False) -> list[str]:
    """Return the name on one line, or on two; what is longer ends in a sign that it was cut.

    The whole name stands in the picture's description and in the list beside it.
    """
    if wide(name, NAME, bold=bold) <= room:
        return [name]
    words = name.split(" ")
    first = ""
    for number in range(1, len(words)):
        longer = " ".join(words[:number])
        if wide(longer, NAME, bold=bold) > room:
            break
        first = longer
    rest = name[len(first) :].strip()
    return [cut(line, room, NAME, bold=bold) for line in (first, rest) if line]
