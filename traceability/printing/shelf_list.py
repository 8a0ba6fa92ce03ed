"""The ready shelf on A4: for the morning, and to write on while the service is down."""

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

from traceability.domain.shelf_list import ShelfLine, ShelfSection, ShelfSheet
from traceability.printing.a4 import MARGIN, a4_pages, line
from traceability.printing.fonts import on_paper, register_fonts, text_width
from traceability.printing.marks import Bead
from traceability.printing.words import kept_together

HEAD_ROOM: Final = 12 * mm
FOOT_ROOM: Final = 10 * mm
TEXT: Final = ParagraphStyle("shelf-text", fontName="sans", fontSize=10, leading=13)
STRONG: Final = ParagraphStyle("shelf-strong", parent=TEXT, fontName="sans-bold")
NUMBER: Final = ParagraphStyle(
    "shelf-number", parent=TEXT, fontName="sans-bold", fontSize=13, leading=15
)
HEADLINE: Final = ParagraphStyle(
    "shelf-headline", parent=TEXT, fontName="sans-bold", fontSize=24, leading=29
)
NAME: Final = ParagraphStyle(
    "shelf-section", parent=TEXT, fontName="sans-bold", fontSize=12, leading=16
)
WIDTHS: Final = (8, 27, 57, 34, 22, 22)
"""Millimetres: bead, circuit and place, what it is, use by, and two columns to write in."""
HEADS: Final = ("", "Circuit", "State", "Use by", "Looked at", "Taken at")


def render_shelf_list(sheet: ShelfSheet) -> bytes:
    """Return the list as a PDF; the same shelf at the same moment gives the same bytes."""
    register_fonts()
    story: list[Flowable] = []
    if sheet.practice:
        story.append(_said("Practice: nothing here is real", NAME))
    story += [_said(sheet.headline, HEADLINE), _said(sheet.still, TEXT)]
    if sheet.ring:
        story.append(_said(f"Ring {sheet.ring}. The service rings nobody.", TEXT))
    for section in sheet.sections:
        story += _section(section)
    return a4_pages(
        story,
        partial(_furniture, sheet),
        title=f"Ready shelf, {sheet.unit}",
        head_room=HEAD_ROOM,
        foot_room=FOOT_ROOM,
    )


def _said(text: str, style: ParagraphStyle) -> Paragraph:
    return Paragraph(escape(kept_together(on_paper(text))), style)


def _section(section: ShelfSection) -> list[Flowable]:
    # A section's name never stands alone at the foot of a page.
    found: list[Flowable] = [
        CondPageBreak(40 * mm),
        Spacer(1, 5 * mm),
        _said(section.name, NAME),
        Spacer(1, 1 * mm),
    ]
    rows: list[list[object]] = [[_said(head, TEXT) for head in HEADS]]
    rows += [_row(each) for each in section.lines]
    style = TableStyle(
        [
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("LINEBELOW", (0, 0), (-1, -1), 0.4, colors.black),
            ("LINEBEFORE", (4, 1), (5, -1), 0.4, colors.black),
            ("LINEAFTER", (5, 1), (5, -1), 0.4, colors.black),
            ("LEFTPADDING", (0, 0), (3, -1), 0),
            ("LEFTPADDING", (4, 0), (5, -1), 4),
            ("RIGHTPADDING", (0, 0), (-1, -1), 5),
            ("TOPPADDING", (0, 0), (-1, -1), 3),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 4),
        ]
    )
    widths = [each * mm for each in WIDTHS]
    return [*found, Table(rows, colWidths=widths, repeatRows=1, hAlign="LEFT", style=style)]


def _row(each: ShelfLine) -> list[object]:
    circuit = [_said(each.number, NUMBER)] if each.number else []
    return [
        Bead(each.bead if each.bead != "known" else "whole"),
        [*circuit, _said(each.place, TEXT)],
        [_said(each.state, STRONG), *(_said(line, TEXT) for line in each.details)],
        # Day and time each on a line of its own: neither is ever broken.
        [_said(piece, STRONG) for piece in each.use_by.split(" ", 1)],
        "",
        "",
    ]


def _furniture(sheet: ShelfSheet, canvas: Canvas, number: int, pages: int) -> None:
    top = A4[1] - MARGIN
    right = f"As known on {sheet.as_known} · page {number} of {pages}"
    line(canvas, "Ready shelf", top - 9, font="sans-bold", size=10)
    room = A4[0] - 2 * MARGIN - text_width(right, "sans", 9) - 12
    line(canvas, sheet.unit, top - 21, size=9, room=room)
    canvas.setFont("sans", 9)
    canvas.drawRightString(A4[0] - MARGIN, top - 21, right)
    canvas.rect(MARGIN, top - 27, A4[0] - 2 * MARGIN, 1.2, stroke=0, fill=1)
    canvas.rect(MARGIN, MARGIN + 14, A4[0] - 2 * MARGIN, 0.5, stroke=0, fill=1)
    line(canvas, sheet.caution, MARGIN + 3, size=9)
