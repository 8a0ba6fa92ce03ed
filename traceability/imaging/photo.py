"""Bytes of a file that somebody sent -> an upright grey picture, or what is wrong with the file.

The file comes from outside and is treated so: only formats that cameras and browsers write are
opened (others start programs of their own), and its size is looked at before anything is unpacked.
"""

import io
import struct
import zlib
from typing import Final

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageOps, UnidentifiedImageError

Grey = NDArray[np.uint8]
"""Rows of dots, 0 black to 255 white."""

FORMATS: Final = ("JPEG", "PNG", "WEBP", "BMP")
LARGEST_BYTES: Final = 32 * 1024 * 1024
LARGEST_DOTS: Final = 64_000_000
"""Of width times height: above what phones take by default, and 64 MB once it is grey."""

BROKEN: Final = (
    OSError,
    SyntaxError,  # Pillow's word for a file that breaks its format
    ValueError,
    EOFError,
    IndexError,
    KeyError,
    TypeError,
    OverflowError,
    struct.error,
    zlib.error,
)
"""What unpacking a broken file raises."""


class UnreadablePicture(ValueError):
    """The file cannot be read as a picture; nothing of it was kept.

    `code`: "empty-file", "not-a-picture", "broken-picture" (cut short or damaged) or
    "picture-too-large". `facts`: bytes, or width and height in dots, where they are known.
    """

    def __init__(self, code: str, **facts: int) -> None:
        """Keep code and facts apart from any wording."""
        super().__init__(code, facts)
        self.code = code
        self.facts = facts


def upright(data: bytes) -> Grey:
    """Return the picture as it was held when it was taken (the file says how to turn it).

    What is transparent is paper, so it becomes white; of several pictures the first is taken.

    Raises:
        UnreadablePicture: the file is no picture, damaged or too large.
    """
    if not data:
        raise UnreadablePicture("empty-file", bytes=0)
    if len(data) > LARGEST_BYTES:
        raise UnreadablePicture("picture-too-large", bytes=len(data))
    try:
        with _opened(data) as image:
            return _grey(ImageOps.exif_transpose(_on_white(image)))
    except BROKEN as broken:
        if isinstance(broken, UnreadablePicture):
            raise
        raise UnreadablePicture("broken-picture", bytes=len(data)) from broken


def _opened(data: bytes) -> Image.Image:
    """Return the picture with its size known and nothing unpacked."""
    try:
        image = Image.open(io.BytesIO(data), formats=FORMATS)
    except UnidentifiedImageError:
        raise UnreadablePicture("not-a-picture", bytes=len(data)) from None
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        raise UnreadablePicture("picture-too-large", bytes=len(data)) from None
    if image.width * image.height > LARGEST_DOTS:
        raise UnreadablePicture("picture-too-large", width=image.width, height=image.height)
    return image


def _on_white(image: Image.Image) -> Image.Image:
    if not image.has_transparency_data:
        return image
    exif = image.getexif()
    clear = image.convert("RGBA")
    paper = Image.new("RGBA", clear.size, "white")
    paper.alpha_composite(clear)
    paper.getexif().update(exif)
    return paper


def _grey(image: Image.Image) -> Grey:
    if image.mode.startswith(("I", "F")):  # 16 bits a dot: convert() would cut, not scale
        deep = np.asarray(image, dtype=np.float64)
        return np.clip(deep / 257, 0, 255).astype(np.uint8)
    return np.asarray(image.convert("L"))
