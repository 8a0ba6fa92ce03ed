"""Paper looked at from outside: poppler rasterises and reads text, zxing-cpp reads symbols."""

import math
import re
import subprocess
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any, Final
from xml.etree import ElementTree as ET

import numpy as np
import zxingcpp
from numpy.typing import NDArray

from traceability.domain.tags import TagFacts, circuit_symbol
from traceability.printing.label import Box, Label
from traceability.printing.samples import TAG
from traceability.printing.tags import print_tag

Dots = NDArray[np.uint8]
MM_PER_POINT: Final = 25.4 / 72
XHTML: Final = "{http://www.w3.org/1999/xhtml}"
PRIMED: Final = datetime(2026, 11, 25, 3, 10, tzinfo=UTC)

FACTS: Final = replace(
    TAG,
    unit="ICU 2",
    ring="5512",
    number="C-0419",
    place="console 3",
    use_by=PRIMED + timedelta(days=30),
    primed_at=PRIMED,
    primer="E. Lind",
    helper="J. Ruiz",
    primer_signed_at=PRIMED + timedelta(minutes=4),
    helper_signed_at=PRIMED + timedelta(minutes=6),
    parts_line="18 parts: 15 own lot or serial, 3 inside the pack",
    oxygenator_lot="3F0117",
    oxygenator_serial="000452",
    practice=False,
    symbol=circuit_symbol("7QXM", "C-0419"),
    contents=None,
)
"""The sample tag of a real store, without what phones read."""


def facts(**changed: Any) -> TagFacts:
    """Return a tag's facts, all in order but for what is said to be otherwise."""
    return replace(FACTS, **changed)


def render_tag(said: TagFacts, *, dpi: int = 203, label: Label | None = None) -> bytes:
    """Return the tag as a PDF."""
    return print_tag(said, dpi=dpi, label=label).pdf


def pages(pdf: bytes, dpi: int) -> list[Dots]:
    """Return each page as poppler draws it, grey, one value a dot, as a printer would."""
    drawn = subprocess.run(
        ["pdftoppm", "-r", str(dpi), "-gray", "-"], input=pdf, capture_output=True, check=True
    )
    found, rest = [], drawn.stdout
    while rest:
        head = re.match(rb"P5\s+(\d+)\s+(\d+)\s+255\s", rest)
        assert head is not None
        wide, tall = int(head[1]), int(head[2])
        end = head.end() + wide * tall
        dots = np.frombuffer(rest[head.end() : end], np.uint8)
        found.append(dots.reshape(tall, wide))
        rest = rest[end:]
    return found


def symbols(page: Dots) -> list[str]:
    """Return the text of each Data Matrix on the page, from the top, left to right."""
    read = zxingcpp.read_barcodes(
        page,
        formats=zxingcpp.barcode_formats_from_str("DataMatrix"),
        text_mode=zxingcpp.TextMode.Plain,
    )
    read.sort(key=lambda one: (one.position.top_left.y // 40, one.position.top_left.x))
    return [one.text for one in read]


def text(pdf: bytes) -> str:
    """Return all words of the PDF, with single spaces, in reading order."""
    shown = subprocess.run(
        ["pdftotext", "-layout", "-", "-"], input=pdf, capture_output=True, check=True
    )
    return " ".join(shown.stdout.decode().split())


@dataclass(frozen=True, slots=True)
class Word:
    """A word and where it stands, in millimetres from the page's upper left corner."""

    page: int
    text: str
    box: Box


def words(pdf: bytes) -> list[Word]:
    """Return each word with its box."""
    shown = subprocess.run(
        ["pdftotext", "-bbox", "-", "-"], input=pdf, capture_output=True, check=True
    )
    found = []
    root = ET.fromstring(shown.stdout)  # noqa: S314 - poppler's own
    for number, page in enumerate(root.iter(f"{XHTML}page"), start=1):
        for each in page.iter(f"{XHTML}word"):
            x, y, x2, y2 = (
                float(each.get(key, 0)) * MM_PER_POINT for key in ("xMin", "yMin", "xMax", "yMax")
            )
            box = Box(x=x, y=y, width=x2 - x, height=y2 - y)
            found.append(Word(number, each.text or "", box))
    return found


def sizes_mm(pdf: bytes) -> list[tuple[float, float]]:
    """Return the width and height of each page, as poppler reads them."""
    shown = subprocess.run(
        ["pdfinfo", "-l", "-1", "-"], input=pdf, capture_output=True, check=True
    ).stdout.decode()
    return [
        (float(wide) * MM_PER_POINT, float(tall) * MM_PER_POINT)
        for wide, tall in re.findall(r"Page +\d* *size: +([\d.]+) x ([\d.]+) pts", shown)
    ]


def dark_box(page: Dots, within: Box, dpi: int) -> Dots:
    """Return the part of the page inside a box given in millimetres."""
    left, top, right, bottom = (
        round(side * dpi / 25.4)
        for side in (within.x, within.y, within.x + within.width, within.y + within.height)
    )
    return page[top:bottom, left:right]


def runs_of_dots(dots: Dots) -> list[int]:
    """Return the lengths of all runs of dark and of light dots, row by row, without margins."""
    found: list[int] = []
    for row in dots < 128:
        dark = np.flatnonzero(row)
        if dark.size == 0:
            continue
        inside = row[dark[0] : dark[-1] + 1]
        edges = np.flatnonzero(np.diff(inside)) + 1
        found += [int(length) for length in np.diff([0, *edges, inside.size])]
    return found


def outside_boxes(page: Dots, label: Label, dpi: int) -> Dots:
    """Return the page with everything white that stands inside a box of the label.

    Boxes do not overlap, so where nothing is left no text runs into another or into a symbol.
    """
    left = page.copy()
    boxes = [each.box for each in label.fields]
    boxes += [each.box for each in label.symbols]
    boxes += [each.box for each in label.rules]
    for box in boxes:
        x, y, x_end, y_end = (
            side * dpi / 25.4 for side in (box.x, box.y, box.x + box.width, box.y + box.height)
        )
        # Some letters ("Ł") reach a hair out of their own width.
        hair = math.ceil(0.25 * dpi / 25.4)
        left[int(y) - 1 : math.ceil(y_end) + 1, int(x) - hair : math.ceil(x_end) + hair] = 255
    return left
