"""A page as commands of label printers: pictures of black dots (`^GF`), nothing to be scaled.

Fonts and symbols of the printer are not used: what was read back is what is printed, dot for dot.
"""

from typing import Final

from PIL import Image
from zebrafy.zebrafy_image import ZebrafyImage

from traceability.printing.paper import Printed
from traceability.printing.raster import Dots

MOST_BYTES: Final = 99_999
"""Of one picture: what a printer is told beyond that, it takes as that (the language's published
manual, `^GF`, from memory). A label of 100 x 62 mm at 300 dots an inch has more."""


def as_printer_graphics(made: Printed) -> bytes:
    """Return all pages, one label each, as plain ASCII."""
    return "".join(_label(page) for page in made.pages).encode("ascii")


def _label(page: Dots) -> str:
    tall, wide = page.shape
    rows = MOST_BYTES // -(-wide // 8)
    bands = "".join(_band(page[top : top + rows], top) for top in range(0, tall, rows))
    # Size and origin are said each time: a printer keeps those of the label before.
    return f"^XA^PW{wide}^LL{tall}^LH0,0{bands}^XZ\n"


def _band(rows: Dots, top: int) -> str:
    # Its shortened hexadecimal: a third of the bytes, and older than the forms that are packed.
    return ZebrafyImage(
        Image.fromarray(~rows),
        format="ASCII_COMPRESSED",
        dither=False,
        complete_zpl=False,
        pos_y=top,
    ).to_zpl()
