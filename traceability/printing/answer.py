"""A recall answer on A4: question, head, coverage, four shelves in order, page n of m."""

import io
from typing import Final
from xml.sax.saxutils import escape

from reportlab.lib import colors
from reportlab.lib.enums import TA_LEFT
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    Flowable,
    Paragraph,
    SimpleDocTemplate,
    Spacer,
    Table,
    TableStyle,
)

from traceability.domain.answers import AnswerSection, AnswerSheet
from traceability.printing.fonts import register_fonts

MARGIN: Final = 20 * mm
TEXT: Final = ParagraphStyle("text", fontName="sans", fontSize=10, leading=13, alignment=TA_LEFT)
CELL: Final = ParagraphStyle("cell", parent=TEXT, fontSize=8.5, leading=10.5)
SMALL: Final = ParagraphStyle("small", parent=TEXT, fontSize=8.5, leading=11)
HEAD: Final = ParagraphStyle("head", parent=TEXT, fontName="sans-bold", fontSize=14, leading=17)
SHELF: Final = ParagraphStyle("shelf", parent=TEXT, fontName="sans-bold", fontSize=11, leading=14)
WIDTHS: Final = [22 * mm, 20 * mm, 56 * mm, 42 * mm, 30 * mm]


class Bead(Flowable):
    """The mark of a shelf: how much of the bead is there says how sure the record is."""

    def __init__(self, kind: str, size: float = 12) -> None:
        """Keep the kind: whole, half, open or none."""
        super().__init__()
        self.kind, self.size = kind, size
        self.width = self.height = size

    def draw(self) -> None:
        """Draw it in black."""
        canvas, radius = self.canv, self.size / 2 - 1
        middle = self.size / 2
        canvas.setLineWidth(1.4)
        if self.kind == "whole":
            canvas.circle(middle, middle, radius, stroke=0, fill=1)
        elif self.kind == "half":
            canvas.circle(middle, middle, radius, stroke=1, fill=0)
            path = canvas.beginPath()
            path.moveTo(middle, middle + radius)
            path.arcTo(middle - radius, middle - radius, middle + radius, middle + radius, 90, 180)
            path.close()
            canvas.drawPath(path, stroke=0, fill=1)
        elif self.kind == "open":
            path = canvas.beginPath()
            path.arc(middle - radius, middle - radius, middle + radius, middle + radius, 120, 300)
            canvas.drawPath(path, stroke=1, fill=0)


def render_answer(sheet: AnswerSheet) -> bytes:
    """Return the answer as a PDF; a row is never split over two pages."""
    register_fonts()
    buffer = io.BytesIO()
    document = SimpleDocTemplate(
        buffer,
        pagesize=A4,
        leftMargin=MARGIN,
        rightMargin=MARGIN,
        topMargin=MARGIN + 8 * mm,
        bottomMargin=MARGIN + 4 * mm,
        title=sheet.subject,
        invariant=1,
    )
    story: list[Flowable] = [
        Paragraph(escape(sheet.question), TEXT),
        Spacer(1, 2 * mm),
        Paragraph(escape(sheet.head), HEAD),
        Spacer(1, 2 * mm),
    ]
    story += [Paragraph(escape(line), SMALL) for line in (*sheet.coverage, sheet.last_entry)]
    for section in sheet.sections:
        story += _section(section)
    story += [Spacer(1, 6 * mm), Paragraph(escape(sheet.caution), SMALL)]
    document.build(story, canvasmaker=_numbered(sheet))
    return buffer.getvalue()


def _section(section: AnswerSection) -> list[Flowable]:
    title = Table(
        [[Bead(section.bead), Paragraph(f"{section.count} {escape(section.name)}", SHELF)]],
        colWidths=[8 * mm, None],
        hAlign="LEFT",
    )
    title.setStyle(
        TableStyle([("LEFTPADDING", (0, 0), (-1, -1), 0), ("VALIGN", (0, 0), (-1, -1), "MIDDLE")])
    )
    found: list[Flowable] = [Spacer(1, 4 * mm), title, Paragraph(escape(section.explain), SMALL)]
    if not section.rows:
        return found
    words = ("Circuit", "Run", "Why it stands here", "On patient", "Where now")
    rows = [[Paragraph(f"<b>{word}</b>", CELL) for word in words]]
    for row in section.rows:
        patient = f"<br/>{escape(row.patient)}" if row.patient else ""
        rows.append(
            [
                Paragraph(f'<font name="mono">{escape(row.circuit)}</font>', CELL),
                Paragraph(f'<font name="mono">{escape(row.run)}</font>{patient}', CELL),
                Paragraph(escape(row.why), CELL),
                Paragraph(escape(row.on_patient), CELL),
                Paragraph(escape(row.where_now), CELL),
            ]
        )
    table = Table(rows, colWidths=WIDTHS, repeatRows=1, splitByRow=1, hAlign="LEFT")
    table.setStyle(
        TableStyle(
            [
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("LINEBELOW", (0, 0), (-1, -1), 0.4, colors.grey),
                ("LEFTPADDING", (0, 0), (-1, -1), 0),
                ("RIGHTPADDING", (0, 0), (-1, -1), 5),
                ("TOPPADDING", (0, 0), (-1, -1), 2),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
            ]
        )
    )
    return [*found, table]


def _numbered(sheet: AnswerSheet) -> type[Canvas]:
    """Return a canvas that knows how many pages there are before it writes "n of m"."""

    class Numbered(Canvas):
        def __init__(self, *args: object, **options: object) -> None:
            super().__init__(*args, **options)  # type: ignore[arg-type]
            self._kept: list[dict[str, object]] = []

        def showPage(self) -> None:  # noqa: N802 - reportlab's own name
            self._kept.append(dict(self.__dict__))
            self._startPage()  # type: ignore[attr-defined]

        def save(self) -> None:
            for number, page in enumerate(self._kept, start=1):
                self.__dict__.update(page)
                _furniture(self, sheet, number, len(self._kept))
                super().showPage()
            super().save()

    return Numbered


def _furniture(canvas: Canvas, sheet: AnswerSheet, number: int, pages: int) -> None:
    width, height = A4
    canvas.setFont("sans-bold", 9)
    canvas.drawString(MARGIN, height - MARGIN, sheet.subject)
    canvas.setFont("sans", 8.5)
    canvas.drawString(MARGIN, height - MARGIN - 11, sheet.unit)
    said = f"As known on {sheet.as_known} · page {number} of {pages}"
    canvas.drawRightString(width - MARGIN, height - MARGIN, said)
    canvas.rect(MARGIN, height - MARGIN - 16, width - 2 * MARGIN, 1, stroke=0, fill=1)
    canvas.setFont("sans", 8)
    canvas.drawString(MARGIN, MARGIN - 4, sheet.caution)
    canvas.drawRightString(width - MARGIN, MARGIN - 15, f"Answer digest {sheet.digest}")
