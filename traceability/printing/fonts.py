"""The typefaces on paper: DejaVu Sans and Sans Mono, as shipped with matplotlib, embedded.

The PDF's own base fonts would drop letters of names without a word (no "ł", no "₂").
Licence of the fonts: Bitstream Vera and Arev licences, DejaVu's own changes in the public domain.
"""

import unicodedata
from functools import cache
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
NOT_SET: Final = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})
"""Unicode categories that leave no mark on paper, or change the order of others."""


def register_fonts() -> None:
    """Make the fonts known to reportlab under the names that labels use.

    Raises:
        LookupError: matplotlib, which ships them, is not installed.
    """
    if "sans" in pdfmetrics.getRegisteredFontNames():
        return
    for name in reversed(FILES):  # "sans" last: who sees it registered sees all of them
        pdfmetrics.registerFont(TTFont(name, font_file(name)))


@cache
def font_file(name: str) -> Path:
    """Return the file of a font.

    Raises:
        LookupError: matplotlib, which ships them, is not installed.
    """
    spec = find_spec("matplotlib")  # found, not imported: that would take a second
    if spec is None or not spec.submodule_search_locations:
        raise LookupError("matplotlib is not installed: its fonts are missing")
    folder = Path(spec.submodule_search_locations[0]) / "mpl-data" / "fonts" / "ttf"
    return folder / f"{FILES[name]}.ttf"


def text_width(text: str, font: str, size: float) -> float:
    """Return the width of a text in points."""
    register_fonts()
    return float(pdfmetrics.stringWidth(text, font, size))


def on_paper(text: str) -> str:
    """Return the text with each character that these fonts cannot show as "[U+001D]".

    Nothing is dropped without a word: that holds for control characters inside a lot, and for
    scripts that are missing or run from right to left (letters in the wrong order would be
    another name). Composed first, so that "A" with a ring is the one letter that the fonts have.
    """
    composed = unicodedata.normalize("NFC", text)
    return "".join(char if _shows(char) else f"[U+{ord(char):04X}]" for char in composed)


@cache
def _shows(char: str) -> bool:
    return (
        unicodedata.category(char) not in NOT_SET
        and unicodedata.bidirectional(char) not in {"R", "AL"}
        and ord(char) in _in_all_fonts()
    )


@cache
def _in_all_fonts() -> frozenset[int]:
    register_fonts()
    fonts = [pdfmetrics.getFont(name) for name in FILES]
    held = [set(font.face.charToGlyph) for font in fonts if isinstance(font, TTFont)]
    return frozenset(set.intersection(*held))
