"""From the bytes of a picture to upright grey pixels, whatever the bytes are.

A picture comes from anybody's phone: its declared size is checked before a pixel is unpacked, only
a few well-known formats are opened (some others would start programs), and everything that can be
wrong with it is one typed fault.
"""

import io
import struct
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageOps, UnidentifiedImageError

from traceability.imaging.pages import drawn_pages, is_pages
from traceability.imaging.read_symbol import LARGEST_BYTES, UnreadablePicture

Grey = NDArray[np.uint8]
"""Rows of pixels, 0 black to 255 white."""

FORMATS: Final = ("JPEG", "PNG", "WEBP", "TIFF", "BMP", "GIF")
LARGEST_DOTS: Final = 80_000_000
"""Over any phone's; grey, this takes 80 MB."""
ENOUGH_DOTS: Final = 16_000_000
"""Larger pictures are halved, and halved again: their symbols have dots to spare."""
MOST_PAGES: Final = 20
WHITE: Final = 255
ORIENTATION: Final = 274
"""EXIF tag: how the camera was held."""
REDUCED: Final = frozenset({"L", "LA", "RGB", "RGBA", "CMYK"})
"""Ways of storing dots of which four can be made one; others become grey first."""


@dataclass(frozen=True, slots=True)
class Photo:
    """One picture or page to read."""

    pixels: Grey
    reduced: float = 1.0
    """Dots of the picture for each of these."""


def photos(data: bytes) -> Iterator[Photo]:
    """Yield the picture; of a PDF and of a scan of several pages each page; of frames the first.

    Raises:
        UnreadablePicture: nothing was unpacked that is larger than the limits above.
    """
    with unpacking(data):
        if is_pages(data):
            for page in drawn_pages(data, MOST_PAGES):
                yield _photo(page)
        else:
            yield from _opened(data)


@contextmanager
def unpacking(data: bytes) -> Iterator[None]:
    """Make one typed fault of everything that can be wrong with a file while it is unpacked."""
    if not data:
        raise UnreadablePicture("empty-file", bytes=0)
    if len(data) > LARGEST_BYTES:
        raise UnreadablePicture("picture-too-large", bytes=len(data))
    try:
        yield
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


def upright(data: bytes) -> Grey:
    """Return the first page or frame as grey pixels, turned as its camera said.

    See-through parts stand on white; 16-bit greys are spread over the eight bits that readers take.

    Raises:
        UnreadablePicture: as `photos`.
    """
    return next(photos(data)).pixels


def _opened(data: bytes) -> Iterator[Photo]:
    with Image.open(io.BytesIO(data), formats=FORMATS) as picture:
        pages = getattr(picture, "n_frames", 1) if picture.format == "TIFF" else 1
        if pages > MOST_PAGES:
            raise UnreadablePicture("too-many-pages", pages=pages)
        for number in range(pages):
            if number:
                picture.seek(number)
            wide, tall = picture.size
            if wide * tall > LARGEST_DOTS:
                raise UnreadablePicture("picture-too-large", width=wide, height=tall)
            if wide * tall > ENOUGH_DOTS:
                picture.draft("L", (wide // 2, tall // 2))  # a JPEG is unpacked at half its size
            drafted = wide / picture.size[0]
            photo = _photo(picture)
            yield Photo(photo.pixels, photo.reduced * drafted)


def _photo(picture: Image.Image) -> Photo:
    picture.load()
    way_up, whole = picture.getexif().get(ORIENTATION, 1), picture.width
    while picture.width * picture.height > ENOUGH_DOTS and picture.mode in REDUCED:
        picture = picture.reduce(2)
        picture.getexif()[ORIENTATION] = way_up
    reduced = whole / picture.width
    pixels = _grey(picture)
    while pixels.size > ENOUGH_DOTS:
        tall, wide = (side // 2 * 2 for side in pixels.shape)
        size = (wide // 2, tall // 2)
        half = cv2.resize(pixels[:tall, :wide], size, interpolation=cv2.INTER_AREA)
        pixels, reduced = half.astype(np.uint8), reduced * 2
    return Photo(pixels, reduced)


def _grey(picture: Image.Image) -> Grey:
    turned = ImageOps.exif_transpose(picture)
    if turned.mode.startswith(("I", "F")):
        return _spread(np.asarray(turned, dtype=np.float32))
    if turned.has_transparency_data:
        clear = turned.convert("RGBA")
        paper = Image.new("RGBA", clear.size, (WHITE, WHITE, WHITE, WHITE))
        turned = Image.alpha_composite(paper, clear)
    return np.asarray(turned.convert("L"), dtype=np.uint8)


def _spread(values: NDArray[np.float32]) -> Grey:
    """Return deep greys with their darkest as 0 and their lightest as 255."""
    values = np.nan_to_num(values)
    low, high = float(values.min()), float(values.max())
    if high <= low:
        return np.zeros(values.shape, dtype=np.uint8)
    return ((values - low) / (high - low) * WHITE).astype(np.uint8)
