"""A picture without anything but its dots: what may be kept of a photo.

A phone writes into the file where it was, when, and whose it is (EXIF, XMP, IPTC, a small copy of
the picture from before it was cropped). Nothing of that is taken over: the dots are unpacked,
turned upright and packed anew.
"""

import io
from typing import Final

from PIL import Image, ImageOps

from traceability.imaging.photo import ENOUGH_DOTS, FORMATS, LARGEST_DOTS, unpacking
from traceability.imaging.read_symbol import UnreadablePicture

QUALITY: Final = 85
"""Of the JPEG: print of 1.5 mm stays readable. Own choice, no source."""


def bare_picture(data: bytes) -> bytes:
    """Return the picture as an upright JPEG of at most `ENOUGH_DOTS` dots, and nothing else of it.

    Raises:
        UnreadablePicture: as `photos`; a PDF is no photo.
    """
    with unpacking(data):
        with Image.open(io.BytesIO(data), formats=FORMATS) as picture:
            wide, tall = picture.size
            if wide * tall > LARGEST_DOTS:
                raise UnreadablePicture("picture-too-large", width=wide, height=tall)
            part = min(1.0, (ENOUGH_DOTS / (wide * tall)) ** 0.5)
            if part < 1:
                picture.draft("RGB", (int(wide * part), int(tall * part)))
            picture.load()
            upright = ImageOps.exif_transpose(picture).convert("RGB")
        part = min(1.0, (ENOUGH_DOTS / (upright.width * upright.height)) ** 0.5)
        if part < 1:
            upright = upright.resize((int(upright.width * part), int(upright.height * part)))
        # A new picture: `info` of the old one, in which EXIF and the like travel, stays behind.
        only_dots = Image.new("RGB", upright.size)
        only_dots.paste(upright)
        out = io.BytesIO()
        only_dots.save(out, "JPEG", quality=QUALITY)
    return out.getvalue()
