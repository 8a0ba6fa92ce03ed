"""A recall answer on A4: question, head, coverage, four shelves in order, page n of m."""

import re
from collections.abc import Sequence
from functools import partial
from typing import Final
from xml.sax.saxutils import escape

from reportlab.lib import colors
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    CondPageBreak,
    Flowable,
    Paragraph,
    Spacer,
    Table,
    TableStyle,
)

from traceability.domain.answers import AnswerRow, AnswerSection, AnswerSheet
from traceability.printing.a4 import MARGIN, WIDE, a4_pages, line
from traceability.printing.fonts import on_paper, register_fonts, text_width
from traceability.printing.marks import Bead, Rail
from traceability.printing.words import NO_BREAK, kept_together

HEAD_ROOM: Final = 12 * mm
FOOT_ROOM: Final = 12 * mm
TEXT: Final = ParagraphStyle("text", fontName="sans", fontSize=10, leading=13)
CELL: Final = ParagraphStyle("cell", parent=TEXT, fontSize=9, leading=11.2)
BOLD_CELL: Final = ParagraphStyle("bold-cell", parent=CELL, fontName="sans-bold")
HEAD: Final = ParagraphStyle("head", parent=TEXT, fontName="sans-bold", fontSize=15, leading=18.5)
SHELF: Final = ParagraphStyle("shelf", parent=TEXT, fontName="sans-bold", fontSize=12, leading=15)
WIDTHS: Final = (17, 17, 54, 46, 36)
"""Millimetres of the columns; the last holds where it is now and what is to be done."""
PADDING: Final = 5
"""Points between columns."""
ROW_ROOM: Final = A4[1] - 2 * MARGIN - HEAD_ROOM - FOOT_ROOM - 30 * mm
"""A row that is higher than this, and only such a row, is split over pages."""


def render_answer(sheet: AnswerSheet) -> bytes:
    """Return the answer as a PDF; the same answer gives the same bytes.

    A row is never split over two pages, but for one that is higher than a page.
    """
    register_fonts()
    say = partial(_said, lots=sheet.lots)
    story: list[Flowable] = [
        say(sheet.question, TEXT),
        Spacer(1, 2 * mm),
        say(sheet.head, HEAD),
        Spacer(1, 2 * mm),
        *(say(line, TEXT) for line in (*sheet.coverage, sheet.last_entry) if line),
    ]
    for section in sheet.sections:
        story += _section(section, sheet.lots)
    return a4_pages(
        story,
        partial(_furniture, sheet),
        title=sheet.subject,
        head_room=HEAD_ROOM,
        foot_room=FOOT_ROOM,
    )


def _said(text: str, style: ParagraphStyle, *, lots: Sequence[str] = ()) -> Paragraph:
    """Return a paragraph in which every lot is set in its own face, letters underlined."""
    lines = (_marked(kept_together(on_paper(line)), lots) for line in text.split("\n"))
    return Paragraph("<br/>".join(lines), style)


def _marked(text: str, lots: Sequence[str]) -> str:
    known = sorted({on_paper(lot) for lot in lots if lot}, key=len, reverse=True)
    if not known:
        return escape(text)
    either = "|".join(re.escape(lot) for lot in known)
    pieces = re.split(rf"(?<!\w)({either})(?!\w)", text)
    return "".join(lot_markup(each) if n % 2 else escape(each) for n, each in enumerate(pieces))


def lot_markup(text: str) -> str:
    """Return markup with a line under letters and none under digits: O and 0 always differ."""
    pieces = re.split(r"([^\W\d_]+)", text.replace(" ", NO_BREAK))
    marked = (f"<u>{escape(each)}</u>" if n % 2 else escape(each) for n, each in enumerate(pieces))
    return f'<font name="mono">{"".join(marked)}</font>'


def _number(text: str) -> Paragraph:
    return Paragraph(lot_markup(on_paper(text)), CELL)


def _section(section: AnswerSection, lots: Sequence[str]) -> list[Flowable]:
    bead = [[Bead(section.bead), _said(f"{section.count} {section.name}", SHELF)]]
    title = Table(bead, colWidths=[8 * mm, None], hAlign="LEFT")
    title.setStyle(
        TableStyle([("LEFTPADDING", (0, 0), (-1, -1), 0), ("VALIGN", (0, 0), (-1, -1), "MIDDLE")])
    )
    # A shelf's name never stands alone at the foot of a page.
    found: list[Flowable] = [CondPageBreak(45 * mm), Spacer(1, 5 * mm), title]
    if section.explain:
        found += [_said(section.explain, TEXT, lots=lots), Spacer(1, 1.5 * mm)]
    found.append(Rail(section.bead))
    return [*found, _table(section.rows, lots)] if section.rows else found


def _table(rows: Sequence[AnswerRow], lots: Sequence[str]) -> Table:
    say = partial(_said, lots=lots)
    tasks = any(row.task for row in rows)
    heads = ["Circuit", "Run", "Why it stands here", "On patient", "Where now"]
    heads[4] += ", task" if tasks else ""
    cells: list[list[Sequence[Flowable]]] = [[[Paragraph(each, BOLD_CELL)] for each in heads]]
    for row in rows:
        cells.append(
            [
                [_number(row.circuit)],
                [_number(row.run) if row.run else say("no run", CELL)],
                [say(row.why, CELL)],
                [say(each, CELL) for each in (row.patient, row.on_patient) if each],
                [say(each, CELL) for each in (row.where_now, row.task) if each],
            ]
        )
    style = TableStyle(
        [
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("LINEBELOW", (0, 0), (-1, -1), 0.4, colors.black),
            ("LEFTPADDING", (0, 0), (-1, -1), 0),
            ("RIGHTPADDING", (0, 0), (-1, -1), PADDING),
            ("TOPPADDING", (0, 0), (-1, -1), 2.5),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 2.5),
        ]
    )
    widths = [each * mm for each in WIDTHS]
    heights = [_height(cell, wide) for row in cells for cell, wide in zip(row, widths, strict=True)]
    return Table(
        cells,
        colWidths=widths,
        repeatRows=1,
        splitByRow=1,
        splitInRow=int(max(heights) > ROW_ROOM),
        hAlign="LEFT",
        style=style,
    )


def _height(cell: Sequence[Flowable], wide: float) -> float:
    return sum(each.wrap(wide - PADDING, ROW_ROOM)[1] for each in cell)


def _furniture(sheet: AnswerSheet, canvas: Canvas, number: int, pages: int) -> None:
    top = A4[1] - MARGIN
    right = f"As known on {sheet.as_known} · page {number} of {pages}"
    line(canvas, sheet.subject, top - 9, font="sans-bold", size=10)
    said = text_width(right, "sans", 9)
    line(canvas, sheet.unit, top - 21, size=9, room=WIDE - said - 12)
    canvas.setFont("sans", 9)
    canvas.drawRightString(A4[0] - MARGIN, top - 21, right)
    canvas.rect(MARGIN, top - 27, WIDE, 1.2, stroke=0, fill=1)
    canvas.rect(MARGIN, MARGIN + 24, WIDE, 0.5, stroke=0, fill=1)
    line(canvas, sheet.caution, MARGIN + 13, size=9)
    line(canvas, f"Answer digest {sheet.digest}", MARGIN + 2, font="mono", size=8)
