"""The sheet that goes with a circuit: what it is, what is in it, whom to ring, blanks."""

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
    Flowable,
    KeepTogether,
    Paragraph,
    Spacer,
    Table,
    TableStyle,
)

from traceability.domain.papers import CircuitPaper, PaperPart
from traceability.printing.a4 import a4_pages, line
from traceability.printing.answer import CELL, HEAD, TEXT, lot_markup
from traceability.printing.barcodes import dots, draw_modules, own_matrix
from traceability.printing.fonts import on_paper, register_fonts
from traceability.printing.proof import proved_pdf
from traceability.printing.words import kept_together

MARGIN: Final = 15 * mm
WIDE: Final = A4[0] - 2 * MARGIN
HEAD_ROOM: Final = 34 * mm
FOOT_ROOM: Final = 12 * mm
SYMBOL_MM: Final = 26.0
DPI: Final = 600
WIDTHS: Final = (42, 47, 43, 21, 27)
LABEL: Final = ParagraphStyle("label", parent=CELL, textColor=colors.black)
BOLD: Final = ParagraphStyle("bold", parent=TEXT, fontName="sans-bold")


def render_circuit_paper(paper: CircuitPaper) -> bytes:
    """Return the paper as a PDF on A4; the same facts give the same bytes.

    Raises:
        DoesNotReadBack: its symbol does not read from a page.
    """
    register_fonts()
    story: list[Flowable] = [
        _said(paper.head, HEAD),
        Spacer(1, 3 * mm),
        _facts(paper.facts),
        Spacer(1, 3 * mm),
    ]
    if paper.blanks:
        story += [KeepTogether([_blanks(paper.blanks), Spacer(1, 3 * mm)])]
    story += [_said(paper.contents, BOLD), Spacer(1, 1.5 * mm)]
    if paper.parts:
        story.append(_parts(paper.parts))
    story += [Spacer(1, 3 * mm), _said(paper.caution, TEXT)]
    title = f"{paper.title}, {paper.number}"
    pdf = a4_pages(
        story,
        partial(_furniture, paper),
        title=title,
        head_room=HEAD_ROOM,
        foot_room=FOOT_ROOM,
        margin=MARGIN,
    )
    return proved_pdf(pdf, paper.symbol, title)


def _said(text: str, style: ParagraphStyle) -> Paragraph:
    return Paragraph(escape(kept_together(on_paper(text))), style)


def _facts(facts: Sequence[tuple[str, str]]) -> Table:
    cells: list[list[Flowable]] = [
        [_said(label, LABEL), _said(value, BOLD)] for label, value in facts if value
    ]
    return _table(cells, (42 * mm, WIDE - 42 * mm), rule=False)


def _blanks(labels: Sequence[str]) -> Table:
    """Return labels each with a line to write on, two beside each other."""
    pairs = [tuple(labels[at : at + 2]) for at in range(0, len(labels), 2)]
    cells = [
        [_said(label, LABEL) for each in (*pair, "")[:2] for label in (each, "")] for pair in pairs
    ]
    half = WIDE / 2
    table = Table(
        cells,
        colWidths=[0.5 * half, 0.47 * half, 0.53 * half, 0.5 * half],
        rowHeights=[10 * mm] * len(cells),
        hAlign="LEFT",
    )
    lines = [
        ("LINEBELOW", (column, row), (column, row), 0.6, colors.black)
        for row, pair in enumerate(pairs)
        for column in (1, 3)[: len(pair)]
    ]
    table.setStyle(
        [("VALIGN", (0, 0), (-1, -1), "BOTTOM"), ("LEFTPADDING", (0, 0), (-1, -1), 0), *lines]
    )
    return table


def _parts(parts: Sequence[PaperPart]) -> Table:
    heads = ["Place", "Item", "Lot, serial", "Expires", "How known"]
    cells: list[list[Flowable]] = [[_said(each, LABEL) for each in heads]]
    for part in parts:
        lots = [lot_markup(on_paper(part.lot))] if part.lot else []
        lots += [f"serial {lot_markup(on_paper(part.serial))}"] if part.serial else []
        cells.append(
            [
                _said(part.place, CELL),
                _said(part.item, CELL),
                Paragraph("<br/>".join(lots) or escape(part.gap), CELL),
                _said(part.expires, CELL),
                _said(part.known, CELL),
            ]
        )
    return _table(cells, [each * mm for each in WIDTHS], rule=True, repeat=1)


def _table(
    cells: Sequence[list[Flowable]], widths: Sequence[float], *, rule: bool, repeat: int = 0
) -> Table:
    lines = [("LINEBELOW", (0, 0), (-1, -1), 0.4, colors.black)] if rule else []
    style = TableStyle(
        [
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("LEFTPADDING", (0, 0), (-1, -1), 0),
            ("TOPPADDING", (0, 0), (-1, -1), 2),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
            *lines,
        ]
    )
    return Table(cells, colWidths=widths, repeatRows=repeat, hAlign="LEFT", style=style)


def _furniture(paper: CircuitPaper, canvas: Canvas, number: int, pages: int) -> None:
    top = A4[1] - MARGIN
    room = WIDE - (SYMBOL_MM + 4) * mm
    canvas.setFont("mono-bold", 26)
    canvas.drawString(MARGIN, top - 22, on_paper(paper.number))
    line(canvas, paper.title, top - 40, font="sans-bold", size=12, room=room, left=MARGIN)
    line(canvas, paper.unit, top - 54, size=10, room=room, left=MARGIN)
    ring = f"Questions, day and night: ring {paper.ring}" if paper.ring else ""
    line(canvas, ring, top - 67, font="sans-bold", size=10, room=room, left=MARGIN)
    if paper.practice:
        line(
            canvas,
            "PRACTICE: nothing on this paper is real",
            top - 80,
            font="sans-bold",
            size=11,
            room=room,
            left=MARGIN,
        )
    made = own_matrix(paper.symbol)
    module = dots(SYMBOL_MM, DPI) // made.side
    draw_modules(
        canvas,
        made,
        left=dots((A4[0] - MARGIN) / mm, DPI) - made.side * module,
        top=dots(MARGIN / mm, DPI),
        module=module,
        tall=module,
        dpi=DPI,
        height=A4[1],
    )
    canvas.rect(MARGIN, top - HEAD_ROOM + 4 * mm, WIDE, 1.2, stroke=0, fill=1)
    canvas.rect(MARGIN, MARGIN + 20, WIDE, 0.5, stroke=0, fill=1)
    line(canvas, paper.foot, MARGIN + 9, size=8, room=WIDE - 60, left=MARGIN)
    canvas.setFont("sans", 8)
    canvas.drawRightString(A4[0] - MARGIN, MARGIN + 9, f"page {number} of {pages}")
