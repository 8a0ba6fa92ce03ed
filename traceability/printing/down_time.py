"""Sheets and tags for primes without the service: one A4 a circuit, its tag to be cut off below.

Sheet and tag of one number stand on one page, so that they cannot be mixed up.
"""

from collections.abc import Iterable, Sequence
from typing import Final

from traceability.domain.papers import DownTimePaper
from traceability.printing.field_text import POINTS_PER_MM
from traceability.printing.label import Box, SymbolField
from traceability.printing.paper import print_sheets
from traceability.printing.pdf import Sheet
from traceability.printing.proof import proved
from traceability.printing.words import LINE, Face, broken, fitted, plain

A4_MM: Final = (210.0, 297.0)
DPI: Final = 300
LEFT: Final = 12.0
WIDE: Final = 186.0
LEAST: Final = 5.0
"""Points; nothing is written smaller."""
HAIR: Final = 0.25
"""Millimetres of lines."""
TAG: Final = (100.0, 62.0)
"""Millimetres: the circuit tag's own size, so that it fits its holder."""
TAG_AT: Final = (LEFT, 226.0)
BOX: Final = (46.5, 18.5)
"""Millimetres of a box for one sticker: four beside each other."""
BOXES_TOP: Final = 85.5
DEEP: Final = 7
"""Rows of boxes on a page."""
TITLE: Final = "Down-time sheets"
SHEET_SYMBOL: Final = Box(x=168, y=10, width=30, height=30)
TAG_SYMBOL: Final = Box(x=66, y=3, width=30, height=30)

ROWS: Final[Sequence[Sequence[tuple[str, float]]]] = (
    (("Circuit type", 62), ("It stands in", 62), ("Fill volume, ml", 31), ("CO₂, L/min", 31)),
    (("Prime begun, date and time", 62), ("Prime ended, date and time", 62), ("Zone", 62)),
    (("Primer, name", 62), ("Helper, name", 62), ("Seal, clamps, level looked at", 62)),
)
"""Labels and widths in millimetres of what is written in."""


def render_down_time(papers: Iterable[DownTimePaper]) -> bytes:
    """Return the sheets as a PDF, a page each; more pages where a type has more places.

    Raises:
        DoesNotReadBack: a page's dots read as something else.
    """
    printed, most = list(papers), 4 * DEEP

    def draw(sheet: Sheet) -> None:
        for paper in printed:
            names = list(paper.places) or [""] * most
            for first in range(0, len(names), most):
                _page(sheet, paper, names[first : first + most], more=first > 0)
                sheet.next_page()

    return proved(print_sheets(*A4_MM, DPI, draw, title=TITLE), TITLE).pdf


def _page(sheet: Sheet, paper: DownTimePaper, names: Sequence[str], *, more: bool) -> None:
    _words(sheet, paper.number, LEFT, 10, 30, font="mono-bold")
    title = "Prime on paper, while the service is away"
    _words(sheet, f"{title}{', more parts' if more else ''}", LEFT, 22, 13, font="sans-bold")
    _words(sheet, f"{paper.site}, {paper.unit}", LEFT, 28.5, 10)
    steps = (
        "Write in everything; put the sticker of each part into its box. Hang the tag on the "
        "circuit. When the service is back, scan the symbol on the right and enter this sheet."
    )
    _block(sheet, steps, LEFT, 34, 150, 9)
    if paper.practice:
        _words(sheet, "PRACTICE: not for a patient", 90, 12, 13, font="sans-bold")
    _symbol(sheet, paper.sheet_symbol, SHEET_SYMBOL, 0, 0)
    _words(sheet, "scan to enter it late", 168, 41, 7.5)
    _fields(sheet, paper)
    _boxes(sheet, names)
    if paper.ticks and not more:
        ticks = "   ".join(f"[  ] {each}" for each in paper.ticks)
        _block(sheet, f"Tick what is fitted:   {ticks}", LEFT, 217.5, WIDE, 8.5)
    if more:
        return
    _tag(sheet, paper)
    _aside(sheet)


def _fields(sheet: Sheet, paper: DownTimePaper) -> None:
    for number, row in enumerate(ROWS):
        x, y = LEFT, 46 + number * 12.0
        for label, wide in row:
            _frame(sheet, x, y, wide, 12)
            _words(sheet, label, x + 1, y + 0.6, 7.5)
            if label == "Circuit type" and paper.circuit_type:
                _fit(
                    sheet, paper.circuit_type, Box(x=x + 1, y=y + 4, width=wide - 2, height=7.5), 12
                )
            x += wide


def _boxes(sheet: Sheet, names: Sequence[str]) -> None:
    for number, name in enumerate(names):
        x = LEFT + number % 4 * BOX[0]
        y = BOXES_TOP + number // 4 * BOX[1]
        _frame(sheet, x, y, *BOX)
        _fit(sheet, name or "Place:", Box(x=x + 1, y=y + 0.6, width=BOX[0] - 2, height=6.5), 7.5)
        _words(sheet, "lot", x + 1, y + 13.8, 6.5)
        _words(sheet, "expires", x + 26, y + 13.8, 6.5)


def _tag(sheet: Sheet, paper: DownTimePaper) -> None:
    left, top = TAG_AT
    _frame(sheet, left, top, *TAG)
    _words(sheet, paper.number, left + 3, top + 2, 26, font="mono-bold")
    kind = Box(x=left + 3, y=top + 13.5, width=60, height=4)
    _fit(sheet, paper.circuit_type or "Type:", kind, 8.5)
    _words(sheet, "SIGNATURES MISSING UNTIL ENTERED", left + 3, top + 17.8, 8, font="sans-bold")
    for number, label in enumerate(("Prime ended", "Use by, by your policy", "Primer", "Helper")):
        y = top + 23 + number * 7.6
        _words(sheet, label, left + 3, y + 2.4, 7.5)
        _rule(sheet, left + 36, y + 6.2, 28 if number < 2 else 61)  # noqa: PLR2004 - beside the symbol
    _symbol(sheet, paper.tag_symbol, TAG_SYMBOL, left, top)
    _words(sheet, "scan to take", left + 72, top + 33.5, 7)
    ring = f"ring {paper.ring}" if paper.ring else ""
    who = ", ".join(word for word in (paper.site, paper.unit, ring) if word)
    _fit(sheet, who, Box(x=left + 3, y=top + 53, width=94, height=4.2), 7)
    caution = "Inspect before use. The record is not the inspection."
    _words(sheet, caution, left + 3, top + 57.6, 7)
    if paper.practice:
        _words(sheet, "PRACTICE", left + 70, top + 37.5, 10, font="sans-bold")


def _aside(sheet: Sheet) -> None:
    x, y = LEFT + TAG[0] + 5, TAG_AT[1]
    _words(sheet, "Cut the tag off and hang it on the circuit.", x, y, 8.5, font="sans-bold")
    _block(
        sheet,
        "In an emergency scan or show the tag: it is taken, entered or not. This number belongs "
        "to this sheet alone; no other circuit gets it. A spoilt sheet is thrown away, its number "
        "with it.",
        x,
        y + 6,
        WIDE - TAG[0] - 5,
        8.5,
    )
    for number, label in enumerate(("Primer signs", "Helper signs", "Entered by, when")):
        line = y + 38 + number * 11
        _words(sheet, label, x, line, 7.5)
        _rule(sheet, x + 24, line + 4, WIDE - TAG[0] - 29)


def _words(sheet: Sheet, text: str, x: float, y: float, size: float, *, font: str = "sans") -> None:
    """Write one line with its upper edge at `y` millimetres."""
    down = sheet.height - y * POINTS_PER_MM - size
    sheet.line(plain(text), Face(font), size, x * POINTS_PER_MM, down)


def _block(sheet: Sheet, text: str, x: float, y: float, wide: float, size: float) -> None:
    """Write a text in as many lines as it needs."""
    for row, line in enumerate(broken(plain(text), Face("sans"), size, wide * POINTS_PER_MM)):
        down = sheet.height - y * POINTS_PER_MM - size - row * size * 1.2
        sheet.line(line, Face("sans"), size, x * POINTS_PER_MM, down)


def _fit(sheet: Sheet, text: str, box: Box, size: float) -> None:
    """Write a text into a box, smaller where it is long; what even then is too long is cut."""
    wide, tall = box.width * POINTS_PER_MM, box.height * POINTS_PER_MM
    face, said = Face("sans"), plain(text)
    found = fitted(said, face, size=size, least=LEAST, lines=3, wide=wide, tall=tall)
    if found is None:
        rows = broken(said, face, LEAST, wide)
        found = LEAST, rows[: max(1, int(tall / (LEAST * LINE)))]
    for row, line in enumerate(found[1]):
        down = sheet.height - box.y * POINTS_PER_MM - found[0] - row * found[0] * LINE
        sheet.line(line, face, found[0], box.x * POINTS_PER_MM, down)


def _frame(sheet: Sheet, x: float, y: float, wide: float, tall: float) -> None:
    for box in (
        Box(x=x, y=y, width=wide, height=HAIR),
        Box(x=x, y=y + tall, width=wide, height=HAIR),
        Box(x=x, y=y, width=HAIR, height=tall),
        Box(x=x + wide, y=y, width=HAIR, height=tall + HAIR),
    ):
        sheet.ink(box, 0, 0)


def _rule(sheet: Sheet, x: float, y: float, wide: float) -> None:
    sheet.ink(Box(x=x, y=y, width=wide, height=HAIR), 0, 0)


def _symbol(sheet: Sheet, text: str, box: Box, left: float, top: float) -> None:
    field = SymbolField(name="symbol", kind="datamatrix", box=box, module=0.8, quiet=1, frame=0)
    sheet.symbol(sheet.fitted(field, text), left, top)
