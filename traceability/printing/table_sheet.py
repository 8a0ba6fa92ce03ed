"""Sentences and tables on A4: replies, pick lists, exceptions of a period."""

from collections.abc import Sequence
from functools import partial
from typing import Final
from xml.sax.saxutils import escape

from reportlab.lib import colors
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import CondPageBreak, Flowable, Paragraph, Spacer, Table, TableStyle

from traceability.domain.table_sheets import SheetTable, TableSheet
from traceability.printing.a4 import MARGIN, WIDE, a4_pages, line
from traceability.printing.answer import lot_markup
from traceability.printing.fonts import on_paper, register_fonts, text_width
from traceability.printing.words import kept_together

HEAD_ROOM: Final = 12 * mm
FOOT_ROOM: Final = 12 * mm
TEXT: Final = ParagraphStyle("sheet-text", fontName="sans", fontSize=10, leading=13)
CELL: Final = ParagraphStyle("sheet-cell", parent=TEXT, fontSize=9, leading=11.2)
HEAD: Final = ParagraphStyle("sheet-head", parent=CELL, fontName="sans-bold")
TITLE: Final = ParagraphStyle(
    "sheet-title", parent=TEXT, fontName="sans-bold", fontSize=15, leading=19
)
NAME: Final = ParagraphStyle(
    "sheet-name", parent=TEXT, fontName="sans-bold", fontSize=12, leading=16
)
BLANK: Final = 14 * mm
"""Room to write by hand on one line."""


def render_table_sheet(sheet: TableSheet) -> bytes:
    """Return the sheet as a PDF; the same sheet gives the same bytes. No row is split."""
    register_fonts()
    story: list[Flowable] = []
    if sheet.practice:
        story.append(_said("Practice: nothing here is real", NAME))
    story += [_said(sheet.title, TITLE), Spacer(1, 2 * mm)]
    story += [_said(each, TEXT) for each in sheet.lines if each]
    for table in sheet.tables:
        story += _table(table)
    if sheet.blanks:
        story += _blanks(sheet.blanks)
    return a4_pages(
        story,
        partial(_furniture, sheet),
        title=sheet.title,
        head_room=HEAD_ROOM,
        foot_room=FOOT_ROOM,
    )


def _said(text: str, style: ParagraphStyle) -> Paragraph:
    return Paragraph(escape(kept_together(on_paper(text))), style)


def _table(table: SheetTable) -> list[Flowable]:
    found: list[Flowable] = [CondPageBreak(40 * mm), Spacer(1, 5 * mm)]
    if table.name:
        found += [_said(table.name, NAME), Spacer(1, 1 * mm)]
    if not table.rows:
        return [*found, _said(table.empty, TEXT)] if table.empty else found
    cells: list[list[Paragraph]] = [[_said(each, HEAD) for each in table.heads]]
    for row in table.rows:
        cells.append(
            [
                Paragraph(lot_markup(on_paper(text)), CELL)
                if number in table.lots
                else _said(text, CELL)
                for number, text in enumerate(row)
            ]
        )
    style = TableStyle(
        [
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("LINEBELOW", (0, 0), (-1, -1), 0.4, colors.black),
            ("LEFTPADDING", (0, 0), (-1, -1), 0),
            ("RIGHTPADDING", (0, 0), (-1, -1), 5),
            ("TOPPADDING", (0, 0), (-1, -1), 2.5),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 3.5),
        ]
    )
    widths = [each * mm for each in table.widths]
    return [
        *found,
        Table(cells, colWidths=widths, repeatRows=1, splitInRow=0, hAlign="LEFT", style=style),
    ]


def _blanks(names: Sequence[str]) -> list[Flowable]:
    wide = WIDE / len(names)
    style = TableStyle(
        [
            ("LINEABOVE", (0, 0), (-1, 0), 0.6, colors.black),
            ("LEFTPADDING", (0, 0), (-1, -1), 0),
            ("TOPPADDING", (0, 0), (-1, -1), 2),
        ]
    )
    row = [[_said(each, CELL) for each in names]]
    return [
        CondPageBreak(BLANK + 12 * mm),
        Spacer(1, BLANK),
        Table(row, colWidths=[wide] * len(names), hAlign="LEFT", style=style),
    ]


def _furniture(sheet: TableSheet, canvas: Canvas, number: int, pages: int) -> None:
    top = A4[1] - MARGIN
    right = f"As known on {sheet.as_known} · page {number} of {pages}"
    line(canvas, sheet.subject, top - 9, font="sans-bold", size=10)
    room = WIDE - text_width(right, "sans", 9) - 12
    line(canvas, sheet.unit, top - 21, size=9, room=room)
    canvas.setFont("sans", 9)
    canvas.drawRightString(A4[0] - MARGIN, top - 21, right)
    canvas.rect(MARGIN, top - 27, WIDE, 1.2, stroke=0, fill=1)
    canvas.rect(MARGIN, MARGIN + 24, WIDE, 0.5, stroke=0, fill=1)
    line(canvas, sheet.caution, MARGIN + 13, size=9)
    if sheet.foot:
        line(canvas, sheet.foot, MARGIN + 2, font="mono", size=8)
