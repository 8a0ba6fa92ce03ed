"""From the bytes of a picture to upright grey pixels, whatever the bytes are.

A picture comes from anybody's phone: its declared size is checked before a pixel is unpacked, only
a few well-known formats are opened (some others would start programs), and everything that can be
wrong with it is one typed fault.
"""

import io
import struct
import zlib
from typing import Final

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageOps, UnidentifiedImageError

Grey = NDArray[np.uint8]
"""Rows of pixels, 0 black to 255 white."""

FORMATS: Final = ("JPEG", "PNG", "WEBP", "TIFF", "BMP", "GIF")
LARGEST_BYTES: Final = 64_000_000
LARGEST_DOTS: Final = 80_000_000
"""Over any phone's; grey, this takes 80 MB."""
WHITE: Final = 255


class UnreadablePicture(ValueError):
    """The bytes cannot be read as a picture; nothing of them was kept.

    `code`, without wording: "empty-file", "not-a-picture" (no format that is read here),
    "broken-picture" (it ends too early or is damaged), "picture-too-large". `facts`: `bytes`, or
    `width` and `height`, where they are known.
    """

    def __init__(self, code: str, **facts: int) -> None:
        """Keep code and facts apart from any wording."""
        super().__init__(code, facts)
        self.code, self.facts = code, facts


def upright(data: bytes) -> Grey:
    """Return the picture as grey pixels, turned as its camera said; the first of several frames.

    See-through parts stand on white; 16-bit greys are spread over the eight bits that readers take.

    Raises:
        UnreadablePicture: nothing was unpacked that is larger than the limits above.
    """
    if not data:
        raise UnreadablePicture("empty-file", bytes=0)
    if len(data) > LARGEST_BYTES:
        raise UnreadablePicture("picture-too-large", bytes=len(data))
    try:
        return _grey(data)
    except UnreadablePicture:
        raise
    except UnidentifiedImageError:
        raise UnreadablePicture("not-a-picture", bytes=len(data)) from None
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        raise UnreadablePicture("picture-too-large", bytes=len(data)) from None
    except (OSError, SyntaxError, ValueError, EOFError, IndexError) as wrong:
        raise UnreadablePicture("broken-picture", bytes=len(data)) from wrong
    except (struct.error, zlib.error, OverflowError, MemoryError) as wrong:
        raise UnreadablePicture("broken-picture", bytes=len(data)) from wrong


def _grey(data: bytes) -> Grey:
    with Image.open(io.BytesIO(data), formats=FORMATS) as picture:
        wide, tall = picture.size
        if wide * tall > LARGEST_DOTS:
            raise UnreadablePicture("picture-too-large", width=wide, height=tall)
        picture.load()
        turned = ImageOps.exif_transpose(picture)
        if turned.mode.startswith(("I", "F")):
            return _spread(np.asarray(turned, dtype=np.float64))
        if turned.has_transparency_data:
            clear = turned.convert("RGBA")
            paper = Image.new("RGBA", clear.size, (WHITE, WHITE, WHITE, WHITE))
            turned = Image.alpha_composite(paper, clear)
        return np.asarray(turned.convert("L"), dtype=np.uint8)


def _spread(values: NDArray[np.float64]) -> Grey:
    """Return deep greys with their darkest as 0 and their lightest as 255."""
    values = np.nan_to_num(values)
    low, high = float(values.min()), float(values.max())
    if high <= low:
        return np.zeros(values.shape, dtype=np.uint8)
    return ((values - low) / (high - low) * WHITE).astype(np.uint8)
