"""A second general reader, where the system has its library: it confirms bars and finds none.

Alone it invents numbers (5 of 268 symbols, measured), so what it says counts only when it is the
very text that the first reader saw.
"""

from functools import cache
from importlib import import_module
from types import ModuleType

from traceability.imaging.photo import Grey


def confirms(pixels: Grey, text: str) -> bool:
    """Tell whether the second reader sees this text in these pixels; False where there is none."""
    reader = _reader()
    if reader is None:
        return False
    data = (pixels.tobytes(), pixels.shape[1], pixels.shape[0])
    return any(read.data == text.encode() for read in reader.decode(data))


@cache
def _reader() -> ModuleType | None:
    try:
        return import_module("pyzbar.pyzbar")
    except ImportError:  # the package, or the system's library that it needs
        return None
