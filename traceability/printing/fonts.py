"""The typefaces on paper: DejaVu Sans, as shipped by matplotlib, embedded in every PDF.

The PDF's own base fonts would drop letters of names without a word (no "ł", no "₂").
Licence of the fonts: Bitstream Vera and Arev licences, with DejaVu's changes in the public domain.
"""

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


def text_width(text: str, font: str, size: float) -> float:
    """Return the width of a text in points."""
    return float(pdfmetrics.stringWidth(text, font, size))
