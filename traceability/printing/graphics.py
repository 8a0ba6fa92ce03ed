"""A page as commands of label printers: one picture of black dots (`^GF`), nothing to be scaled.

Fonts and symbols of the printer are not used: what was read back is what is printed, dot for dot.
"""

import numpy as np

from traceability.printing.paper import Printed
from traceability.printing.raster import Dots


def as_printer_graphics(made: Printed) -> bytes:
    """Return all pages, one label each, as plain ASCII.

    A row is filled up to whole bytes with white on the right; a set bit is a black dot.
    """
    return "".join(_label(page) for page in made.pages).encode("ascii")


def _label(page: Dots) -> str:
    tall, wide = page.shape
    packed = np.packbits(page, axis=1)
    across, count = packed.shape[1], packed.size
    size = f"^PW{wide}^LL{tall}^LH0,0"
    return f"^XA{size}^FO0,0^GFA,{count},{count},{across},{packed.tobytes().hex().upper()}^FS^XZ\n"
