"""The pages of a PDF as pictures: a scan of delivery notes, a maker's own label file."""

from collections.abc import Iterator
from typing import Final

import pypdfium2
import pypdfium2.raw as pdfium
from PIL import Image

from traceability.imaging.read_symbol import UnreadablePicture

DOTS_AN_INCH: Final = 200
"""A module of 0.25 mm is two dots."""
MOST_DOTS: Final = 12_000_000
"""A page larger than A3 at that is drawn coarser."""
POINTS_AN_INCH: Final = 72
MARK: Final = b"%PDF-"
MARK_WITHIN: Final = 1024
"""Readers find the mark within so many bytes (ISO 32000-1, annex H, note 13)."""


def is_pages(data: bytes) -> bool:
    """Tell whether the bytes are a PDF."""
    return MARK in data[:MARK_WITHIN]


def drawn_pages(data: bytes, most: int) -> Iterator[Image.Image]:
    """Yield each page in grey, drawn when it is asked for.

    Raises:
        UnreadablePicture: it is damaged, locked, or has more than `most` pages.
    """
    try:
        document = pypdfium2.PdfDocument(data)
    except pypdfium2.PdfiumError as wrong:
        locked = getattr(wrong, "err_code", None) == pdfium.FPDF_ERR_PASSWORD
        code = "locked-pages" if locked else "broken-picture"
        raise UnreadablePicture(code, bytes=len(data)) from wrong
    try:
        if len(document) > most:
            raise UnreadablePicture("too-many-pages", pages=len(document))
        for page in document:
            wide, tall = page.get_size()
            scale = DOTS_AN_INCH / POINTS_AN_INCH
            dots = max(wide, 1.0) * max(tall, 1.0) * scale**2
            scale *= min(1.0, (MOST_DOTS / dots) ** 0.5)
            yield page.render(scale=scale, grayscale=True).to_pil()
    except pypdfium2.PdfiumError as wrong:
        raise UnreadablePicture("broken-picture", bytes=len(data)) from wrong
    finally:
        document.close()
