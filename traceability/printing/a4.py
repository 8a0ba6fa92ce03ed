"""What sheets on A4 have in common: margins, a line that always fits, "page n of m"."""

import io
from collections.abc import Callable, Sequence
from typing import Final, TypeAlias

from reportlab.lib.pagesizes import A4
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable, SimpleDocTemplate

from traceability.printing.fonts import on_paper, text_width

__all__ = ["MARGIN", "WIDE", "Furniture", "a4_pages", "line"]

MARGIN: Final = 20 * mm
WIDE: Final = A4[0] - 2 * MARGIN
FRAME: Final = 6
"""Points that reportlab leaves free inside the margins of its own accord."""

Furniture: TypeAlias = Callable[[Canvas, int, int], None]
"""Draws what stands on every page; gets the page's number and how many there are."""


def a4_pages(
    story: Sequence[Flowable],
    furniture: Furniture,
    *,
    title: str,
    head_room: float,
    foot_room: float,
    margin: float = MARGIN,
) -> bytes:
    """Return the story as a PDF; the same story gives the same bytes.

    `head_room` and `foot_room` are points that the furniture needs inside the margins.
    """
    buffer = io.BytesIO()
    document = SimpleDocTemplate(
        buffer,
        pagesize=A4,
        leftMargin=margin - FRAME,
        rightMargin=margin - FRAME,
        topMargin=margin + head_room,
        bottomMargin=margin + foot_room,
        title=title,
        creator="Circuit Traceability",
        invariant=1,
    )
    document.build(list(story), canvasmaker=_numbered(furniture))
    return buffer.getvalue()


def _numbered(furniture: Furniture) -> type[Canvas]:
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
                furniture(self, number, len(self._kept))
                super().showPage()
            super().save()

    return Numbered


def line(
    canvas: Canvas,
    text: str,
    y: float,
    *,
    font: str = "sans",
    size: float,
    room: float = WIDE,
    left: float = MARGIN,
) -> None:
    """Write one line, narrower where it would run over; all of it also stands in the text."""
    shown = on_paper(text)
    wide = text_width(shown, font, size)
    canvas.saveState()
    canvas.translate(left, y)
    if wide > room:
        canvas.scale(room / wide, 1)
    canvas.setFont(font, size)
    canvas.drawString(0, 0, shown)
    canvas.restoreState()
