"""The typefaces on paper: DejaVu Sans, as shipped by matplotlib, embedded in every PDF.

The PDF's own base fonts would drop letters of names without a word (no "ł", no "₂").
Licence of the fonts: Bitstream Vera and Arev licences, with DejaVu's changes in the public domain.
"""

import unicodedata
from importlib.util import find_spec
from pathlib import Path
from typing import Final

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

FILES: Final = {
    "sans": "DejaVuSans",
    "sans-bold": "DejaVuSans-Bold",
    "mono": "DejaVuSansMono",
    "mono-bold": "DejaVuSansMono-Bold",
}


def register_fonts() -> None:
    """Make the fonts known to reportlab under the names that labels use."""
    if "sans" in pdfmetrics.getRegisteredFontNames():
        return
    spec = find_spec("matplotlib")
    if spec is None or not spec.submodule_search_locations:
        raise LookupError("matplotlib is not installed: its fonts are missing")
    folder = Path(spec.submodule_search_locations[0]) / "mpl-data" / "fonts" / "ttf"
    for name, file in FILES.items():
        pdfmetrics.registerFont(TTFont(name, folder / f"{file}.ttf"))


UNSEEN: Final = frozenset({"Cc", "Cf", "Cn", "Co", "Cs", "Zl", "Zp"})
"""Unicode categories of what has no picture, or turns what stands around it."""


def printable(text: str, font: str) -> str:
    """Return the text as this font can show it, with nothing left out.

    A character that the font lacks, or that cannot be seen, is written as <U+4E2D>: an empty box
    would make two names look alike. Line ends and tabs become spaces.
    """
    register_fonts()
    has = pdfmetrics.getFont(font).face.charToGlyph  # type: ignore[attr-defined]
    plain = unicodedata.normalize("NFC", text.translate({9: " ", 10: " ", 13: " "}))
    return "".join(
        char
        if ord(char) in has and unicodedata.category(char) not in UNSEEN
        else f"<U+{ord(char):04X}>"
        for char in plain
    )


def cut_line(text: str, font: str, size: float, room: float) -> tuple[str, str]:
    """Return what of the text fits into one line of `room` points, and the rest.

    Cut at a space; a word longer than the line is cut within.
    """
    if text_width(text, font, size) <= room:
        return text, ""
    least, most = 1, len(text)
    while least < most:
        middle = (least + most + 1) // 2
        if text_width(text[:middle], font, size) <= room:
            least = middle
        else:
            most = middle - 1
    space = text.rfind(" ", 1, least + 1)
    return (text[:space], text[space + 1 :]) if space > 0 else (text[:least], text[least:])


def text_width(text: str, font: str, size: float) -> float:
    """Return the width of a text in points."""
    return float(pdfmetrics.stringWidth(text, font, size))
