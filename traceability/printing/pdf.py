"""Drawing a label: texts fitted into their boxes, symbols on whole dots, nothing overlapping."""

import math
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final, Protocol

from traceability.domain.tags import private_form
from traceability.printing.barcodes import (
    MM_PER_INCH,
    POINTS_PER_INCH,
    TYPES,
    Modules,
    NotWritable,
    Pen,
    dots,
    draw_modules,
    made_symbol,
)
from traceability.printing.field_text import POINTS_PER_MM, DoesNotFit, face_of, placed
from traceability.printing.fonts import text_width
from traceability.printing.label import Box, Label, SymbolField, TextField
from traceability.printing.words import LINE, Face, Run, Said

BASELINE: Final = 0.965
"""Where letters stand in their line, in the size of the font: half a line and half a capital's
height below its top (capitals are .73 of the size; measured in DejaVu Sans)."""
UNDER_LETTERS: Final = (0.15, 0.05)
"""Depth below the baseline and thickness of the line under letters, in the size of the font."""


AS_GS1: Final = {"datamatrix": "gs1-datamatrix", "code128": "gs1-128"}
"""How a GS1 key is written where a label says this kind."""


class Paper(Pen, Protocol):
    """What a sheet draws on: a PDF's page, or the dots of one."""

    def setFont(self, name: str, size: float) -> None:  # noqa: N802 - reportlab's own name
        """Write in this font from now on."""
        ...

    def drawString(self, x: float, y: float, text: str) -> None:  # noqa: N802 - the same
        """Write from a point on the baseline."""
        ...

    def showPage(self) -> None:  # noqa: N802 - the same
        """End the page."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """Pages of one size under the pen. All places are millimetres from the upper left corner."""

    canvas: Paper
    height: float
    """Points."""
    dpi: int
    finish: Callable[[], bytes]
    """Ends the document and returns it."""
    symbols: list["PlacedSymbol"] = field(default_factory=list)
    """What was drawn, page by page."""
    ended: list[None] = field(default_factory=list)
    """One entry a page that is done."""

    def next_page(self) -> None:
        """End the page."""
        self.canvas.showPage()
        self.ended.append(None)

    def finished(self) -> bytes:
        """Return the PDF. The sheet is spent."""
        return self.finish()

    def draw(
        self,
        label: Label,
        facts: Mapping[str, Said],
        symbols: Mapping[str, str],
        *,
        left: float = 0,
        top: float = 0,
        shorten: bool = False,
    ) -> None:
        """Draw one label with its upper left corner at `left`, `top`.

        `shorten`: a text that does not fit ends in "…" instead of stopping the label.

        Raises:
            DoesNotFit: with nothing drawn.
        """
        texts = [(field, placed(field, facts, shorten=shorten)) for field in label.fields]
        drawn = [
            self.fitted(field, symbols[field.name])
            for field in label.symbols
            if symbols.get(field.name)
        ]
        for words, (size, lines) in texts:
            self.lines(words, lines, size, left, top)
        for rule in label.rules:
            self.ink(rule.box, left, top)
        for each in drawn:
            self.symbol(each, left, top)

    def lines(
        self, field: TextField, lines: Sequence[Said], size: float, left: float, top: float
    ) -> None:
        """Draw lines in the middle of their box's height."""
        face = face_of(field)
        room = field.box.width * POINTS_PER_MM
        free = field.box.height * POINTS_PER_MM - len(lines) * size * LINE
        y = self.height - (top + field.box.y) * POINTS_PER_MM - free / 2
        for number, line in enumerate(lines):
            aside = {"left": 0.0, "center": 0.5, "right": 1.0}[field.align]
            x = (left + field.box.x) * POINTS_PER_MM + aside * (room - face.width(line, size))
            self.line(line, face, size, x, y - number * size * LINE - size * BASELINE)

    def line(self, line: Said, face: Face, size: float, x: float, y: float) -> None:
        """Draw runs one after the other from a point on the baseline (points from below)."""
        for run in line:
            font = face.of(run)
            self.canvas.setFont(font, size)
            self.canvas.drawString(x, y, run.text)
            if face.marked(run):
                self._mark_letters(run, font, size, x, y)
            x += text_width(run.text, font, size)

    def _mark_letters(self, run: Run, font: str, size: float, x: float, y: float) -> None:
        """Underline letters, never digits: O and 0, I and 1, S and 5 then always differ."""
        deep, thick = UNDER_LETTERS
        for letters in re.finditer(r"[^\W\d_]+", run.text):
            start = x + text_width(run.text[: letters.start()], font, size)
            wide = text_width(letters[0], font, size)
            self.canvas.rect(start, y - size * deep, wide, size * thick, stroke=0, fill=1)

    def ink(self, box: Box, left: float, top: float) -> None:
        """Fill a box, its edges on whole dots."""
        x, x_end = (self.snap(left + side) for side in (box.x, box.x + box.width))
        y, y_end = (self.snap(top + side) for side in (box.y, box.y + box.height))
        self.canvas.rect(x, self.height - y_end, x_end - x, y_end - y, stroke=0, fill=1)

    def snap(self, millimetres: float) -> float:
        """Return the nearest whole dot, in points."""
        return dots(millimetres, self.dpi) * POINTS_PER_INCH / self.dpi

    def fitted(self, field: SymbolField, text: str) -> "FittedSymbol":
        """Return a symbol as it will be drawn.

        A GS1 key is written as such; where its box has no room for it, what it carries is.

        Raises:
            DoesNotFit: as `sized`.
        """
        private = private_form(text)
        if private is None:
            return FittedSymbol(field, text, *self.sized(field, text))
        kind = AS_GS1.get(field.kind, field.kind)
        as_key = replace(field, kind=kind, quiet=max(field.quiet, TYPES[kind].quiet))
        try:
            return FittedSymbol(as_key, text, *self.sized(as_key, text))
        except DoesNotFit:
            return FittedSymbol(field, private, *self.sized(field, private))

    def sized(self, field: SymbolField, text: str) -> tuple[Modules, int]:
        """Return a symbol and its module in whole dots, as large as its box allows.

        Raises:
            DoesNotFit: it cannot be written, or its modules would be smaller than the label says.
        """
        try:
            made = made_symbol(field.kind, text, correction=field.correction)
        except NotWritable as wrong:
            raise DoesNotFit(field.name) from wrong
        across = made.width + 2 * field.quiet
        module = self._room(field.box.width, field) // across
        if not made.linear:
            module = min(module, self._room(field.box.height, field) // across)
        most = math.floor(field.most * self.dpi / MM_PER_INCH)
        module = min(module, most) if field.most else module
        if module < field.module * self.dpi / MM_PER_INCH:
            raise DoesNotFit(field.name)
        return made, module

    def _room(self, side: float, field: SymbolField) -> int:
        return math.floor((side - 2 * field.frame) * self.dpi / MM_PER_INCH)

    def symbol(self, fitted: "FittedSymbol", left: float, top: float) -> None:
        """Draw a symbol in the middle of its box, and the frame that marks it."""
        field, made, module = fitted.field, fitted.modules, fitted.module
        box = field.box
        tall = dots(box.height - 2 * field.frame, self.dpi) if made.linear else module
        x, y = dots(left + box.x, self.dpi), dots(top + box.y, self.dpi)
        x += (dots(box.width, self.dpi) - made.width * module) // 2
        y += (dots(box.height, self.dpi) - len(made.rows) * tall) // 2
        quiet = field.quiet * module
        above = 0 if made.linear else quiet
        around = (
            slice(max(y - above, 0), y + len(made.rows) * tall + above),
            slice(max(x - quiet, 0), x + made.width * module + quiet),
        )
        self.symbols.append(
            PlacedSymbol(
                page=len(self.ended),
                kind=field.kind,
                text=fitted.text,
                module=module,
                around=around,
            )
        )
        draw_modules(
            self.canvas,
            made,
            left=x,
            top=y,
            module=module,
            tall=tall,
            dpi=self.dpi,
            height=self.height,
        )
        line = field.frame
        if line:
            for each in (
                Box(x=box.x, y=box.y, width=box.width, height=line),
                Box(x=box.x, y=box.y + box.height - line, width=box.width, height=line),
                Box(x=box.x, y=box.y, width=line, height=box.height),
                Box(x=box.x + box.width - line, y=box.y, width=line, height=box.height),
            ):
                self.ink(each, left, top)


@dataclass(frozen=True, slots=True)
class FittedSymbol:
    """A symbol that fits its box."""

    field: SymbolField
    text: str
    modules: Modules
    module: int
    """Its X-dimension in dots."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacedSymbol:
    """A symbol where it was drawn."""

    page: int
    """From 0."""
    kind: str
    text: str
    module: int
    """Its X-dimension in dots."""
    around: tuple[slice, slice]
    """Rows and columns of dots, its quiet zone included."""
