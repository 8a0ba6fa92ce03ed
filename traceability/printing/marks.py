"""The marks of a sheet on paper, in one ink: how much of a bead is there says how sure it is."""

from typing import Final

from reportlab.platypus import Flowable

LINE: Final = 1.5
RAILS: Final = {"whole": (2.4,), "half": (0.8, 0.8), "open": (0.8,), "none": ()}
"""Lines of the rail under a shelf's name: thick, double, thin, none; points."""
RAIL_GAP: Final = 1.8


class Bead(Flowable):
    """How much of a bead is there.

    whole: confirmed, ready. half: inferred. open, with a gap at the top: cannot be excluded,
    missing. wait, halves out of line: waits for a person. shut, a pinched line: on hold.
    """

    def __init__(self, kind: str, size: float = 13) -> None:
        """Keep the kind: whole, half, open, wait, shut or none."""
        super().__init__()
        self.kind, self.size = kind, size
        self.width = self.height = size

    def draw(self) -> None:
        """Draw it."""
        canvas, middle = self.canv, self.size / 2
        radius = middle - LINE / 2
        around = (middle - radius, middle - radius, middle + radius, middle + radius)
        canvas.setLineWidth(LINE)
        if self.kind == "whole":
            canvas.circle(middle, middle, middle, stroke=0, fill=1)
        elif self.kind == "half":
            # Two halves with a gap between: the left one full, the right one an outline.
            full = canvas.beginPath()
            full.arc(0, 0, self.size, self.size, 98, 164)
            full.close()
            canvas.drawPath(full, stroke=0, fill=1)
            empty = canvas.beginPath()
            empty.arc(*around, -76, 152)
            empty.close()
            canvas.drawPath(empty, stroke=1, fill=0)
        elif self.kind == "open":
            cup = canvas.beginPath()
            cup.arc(*around, 120, 300)
            canvas.drawPath(cup, stroke=1, fill=0)
        elif self.kind == "wait":
            shift, gap = self.size * 0.09, self.size * 0.05
            for start, x, y in ((0, -shift, gap), (180, shift, -gap)):
                half = canvas.beginPath()
                half.arc(x, y, self.size + x, self.size + y, start, 180)
                half.close()
                canvas.drawPath(half, stroke=0, fill=1)
        elif self.kind == "shut":
            pinch = self.size * 0.12
            shape = canvas.beginPath()
            shape.moveTo(0, self.size * 0.9)
            shape.lineTo(middle, middle + pinch)
            shape.lineTo(self.size, self.size * 0.9)
            shape.lineTo(self.size, self.size * 0.1)
            shape.lineTo(middle, middle - pinch)
            shape.lineTo(0, self.size * 0.1)
            shape.close()
            canvas.drawPath(shape, stroke=0, fill=1)


class Rail(Flowable):
    """The line that a shelf's circuits stand on."""

    def __init__(self, kind: str) -> None:
        """Keep the kind of the shelf's bead."""
        super().__init__()
        self.lines = RAILS[kind]

    def wrap(self, available_width: float, _available_height: float) -> tuple[float, float]:
        """Take the whole width."""
        self.width = available_width
        self.height = sum(self.lines) + RAIL_GAP * len(self.lines)
        return self.width, self.height

    def draw(self) -> None:
        """Draw it."""
        y = self.height
        for thick in self.lines:
            self.canv.rect(0, y - thick, self.width, thick, stroke=0, fill=1)
            y -= thick + RAIL_GAP
