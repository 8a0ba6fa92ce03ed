"""How wide words are in a drawing, and how what was read from a label is written in one.

The pages name system typefaces only. Widths are those of Helvetica, which the first choices keep to
or stay below; a twentieth is added for those that do not.
"""

import re
from html import escape
from typing import Final, TypeAlias

from reportlab.pdfbase.pdfmetrics import stringWidth

Label: TypeAlias = tuple[str, ...]
"""Words and, at every second place, what was read from a label: ("lot ", "T77-0B1")."""

MONO: Final = 0.62
"""Width of a letter of a lot, in sizes of the letter; DejaVu Sans Mono has 0.602."""
SPARE: Final = 1.05
FULL_WIDTH_FROM: Final = "\u2e80"
"""From here on letters are as wide as they are high (Unicode, East Asian scripts)."""


def wide(text: str, size: float, *, bold: bool = False) -> float:
    """Return how much room a text needs, in units of the drawing."""
    square = sum(letter >= FULL_WIDTH_FROM for letter in text)
    narrow = "".join(letter for letter in text if letter < FULL_WIDTH_FROM)
    face = "Helvetica-Bold" if bold else "Helvetica"
    return float(stringWidth(narrow, face, size)) * SPARE + square * size


def label_wide(label: Label, size: float) -> float:
    """Return how much room a label needs."""
    words = sum(wide(piece, size) for piece in label[::2])
    return words + sum(len(piece) * MONO * size for piece in label[1::2])


def label_svg(label: Label) -> str:
    """Return a label for use inside <text>: letters of a lot get their line, digits none."""
    return "".join(_lot(piece) if index % 2 else escape(piece) for index, piece in enumerate(label))


def _lot(text: str) -> str:
    runs = re.split(r"([A-Za-z]+)", text)
    marked = "".join(
        f'<tspan class="letters">{run}</tspan>' if index % 2 else escape(run)
        for index, run in enumerate(runs)
        if run
    )
    return f'<tspan class="lot">{marked}</tspan>'


def cut(text: str, room: float, size: float, *, bold: bool = False) -> str:
    """Return the text, or as much of it as has room, with a sign that it goes on."""
    if wide(text, size, bold=bold) <= room:
        return text
    for end in range(len(text) - 1, 0, -1):
        shorter = f"{text[:end].rstrip()}…"
        if wide(shorter, size, bold=bold) <= room:
            return shorter
    return "…"
