"""Drawing a label: texts fitted into their boxes, symbols on whole dots, nothing overlapping."""

import io
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from reportlab.pdfgen.canvas import Canvas

from traceability.printing.barcodes import (
    MM_PER_INCH,
    POINTS_PER_INCH,
    data_matrix,
    dots,
    draw_modules,
    qr_code,
)
from traceability.printing.fonts import cut_line, printable, register_fonts, text_width
from traceability.printing.label import Label, SymbolField, TextField

POINTS_PER_MM: Final = POINTS_PER_INCH / MM_PER_INCH
CAPITALS: Final = 0.73
"""Height of a capital in the fonts' size; measured in DejaVu Sans."""
STEP: Final = 0.1
"""Points by which a text is made smaller until it fits."""
LEADING: Final = 1.15
"""Height of a line in the fonts' size, where a text takes several."""


class DoesNotFit(Exception):
    """A text is too long for its box even at its least size. `name` is the field's."""

    def __init__(self, name: str) -> None:
        """Keep which field it was."""
        super().__init__(name)
        self.name = name


def new_sheet(buffer: io.BytesIO, width_mm: float, height_mm: float, dpi: int) -> "Sheet":
    """Return a page of whole printer dots, rounded down to a hundredth of a point.

    Rounded up, a rasteriser adds a row of dots and every edge goes grey (measured).
    """
    register_fonts()
    wide, tall = (
        math.floor(dots(side, dpi) * POINTS_PER_INCH / dpi * 100) / 100
        for side in (width_mm, height_mm)
    )
    # Invariant: no date and no random id in the file, so the same facts give the same bytes.
    canvas = Canvas(buffer, pagesize=(wide, tall), invariant=1, pageCompression=1)
    return Sheet(canvas=canvas, height=tall, dpi=dpi)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """A page under the pen."""

    canvas: Canvas
    height: float
    """Points."""
    dpi: int

    def snap(self, millimetres: float) -> float:
        """Return the nearest whole dot, in points."""
        return dots(millimetres, self.dpi) * POINTS_PER_INCH / self.dpi

    def draw(
        self,
        label: Label,
        texts: Mapping[str, str],
        symbols: Mapping[str, str],
        *,
        left: float = 0,
        top: float = 0,
    ) -> None:
        """Draw one label with its upper left corner at `left`, `top` (millimetres).

        Raises:
            DoesNotFit: a text is too long even at its least size; something may be drawn already.
        """
        for field in label.fields:
            self.text(field, texts.get(field.name, ""), left, top)
        for rule in label.rules:
            box = rule.box
            x, y = self.snap(left + box.x), self.height - self.snap(top + box.y + box.height)
            self.canvas.rect(x, y, self.snap(box.width), self.snap(box.height), stroke=0, fill=1)
        for symbol in label.symbols:
            if symbols.get(symbol.name):
                self.symbol(symbol, symbols[symbol.name], left, top)

    def text(self, field: TextField, text: str, left: float, top: float) -> None:
        """Draw a text as large as its box allows.

        Raises:
            DoesNotFit: not even at its least size; nothing was drawn of it.
        """
        if not text:
            return
        size, lines = fitted(field, text)
        room = field.box.width * POINTS_PER_MM
        middle = (top + field.box.y + field.box.height / 2) * POINTS_PER_MM
        first = self.height - middle + (len(lines) - 1) * size * LEADING / 2 - size * CAPITALS / 2
        self.canvas.setFont(field.font, size)
        for number, line in enumerate(lines):
            wide = text_width(line, field.font, size)
            x = (left + field.box.x) * POINTS_PER_MM
            x += {"left": 0.0, "center": (room - wide) / 2, "right": room - wide}[field.align]
            y = first - number * size * LEADING
            self.canvas.drawString(x, y, line)
            if field.underline_letters:
                self.underline(line, field.font, size, x, y)

    def underline(self, text: str, font: str, size: float, x: float, y: float) -> None:
        """Draw a line under each run of letters: O and 0, I and 1, S and 5 then always differ."""
        for run in re.finditer(r"[A-Za-z]+", text):
            start = x + text_width(text[: run.start()], font, size)
            wide = text_width(run[0], font, size)
            self.canvas.rect(start, y - size * 0.14, wide, size * 0.05, stroke=0, fill=1)

    def symbol(
        self, field: SymbolField, text: str, left: float, top: float, *, smaller: bool = False
    ) -> None:
        """Draw a symbol in the middle of its box, its modules in whole dots, as large as fits.

        Raises:
            DoesNotFit: its modules would be smaller than the label says (`smaller`: than a dot).
        """
        made = data_matrix(text) if field.kind == "datamatrix" else qr_code(text)
        side = dots(min(field.box.width, field.box.height) - 2 * field.frame, self.dpi)
        module = side // (made.side + 2 * field.quiet)
        least = 1 if smaller else math.ceil(field.module * self.dpi / MM_PER_INCH)
        if module < least:
            raise DoesNotFit(field.name)
        whole = made.side * module
        box_left, box_top = dots(left + field.box.x, self.dpi), dots(top + field.box.y, self.dpi)
        free_x = dots(field.box.width, self.dpi) - whole
        free_y = dots(field.box.height, self.dpi) - whole
        draw_modules(
            self.canvas,
            made,
            left=box_left + free_x // 2,
            top=box_top + free_y // 2,
            module=module,
            dpi=self.dpi,
            height=self.height,
        )
        if field.frame:
            self.frame(field, left, top)

    def frame(self, field: SymbolField, left: float, top: float) -> None:
        """Draw the frame that marks the symbol to scan."""
        line, box = self.snap(field.frame), field.box
        x, y = self.snap(left + box.x), self.height - self.snap(top + box.y + box.height)
        wide, tall = self.snap(box.width), self.snap(box.height)
        for rect in (
            (x, y, wide, line),
            (x, y + tall - line, wide, line),
            (x, y, line, tall),
            (x + wide - line, y, line, tall),
        ):
            self.canvas.rect(*rect, stroke=0, fill=1)


def fitted(field: TextField, text: str) -> tuple[float, list[str]]:
    """Return the largest size, in points, at which the text fits its box, and its lines.

    Raises:
        DoesNotFit: not even at the least size.
    """
    shown = printable(text, field.font)
    room, height = (side * POINTS_PER_MM for side in (field.box.width, field.box.height))
    size = field.size
    while size >= field.least:
        lines: list[str] = []
        rest = shown
        while rest and len(lines) < field.lines:
            line, rest = cut_line(rest, field.font, size, room)
            lines.append(line)
        if not rest and (len(lines) == 1 or len(lines) * size * LEADING <= height):
            return size, lines
        size -= STEP
    raise DoesNotFit(field.name)
