"""What is kept of a photo: its dots, and no byte of what a phone wrote beside them."""

import io
from typing import Final

import numpy as np
import pytest
from PIL import Image, PngImagePlugin

from traceability.imaging.apart import ReaderApart
from traceability.imaging.bare import bare_picture
from traceability.imaging.photo import ENOUGH_DOTS
from traceability.imaging.read_symbol import UnreadablePicture

BESIDE: Final = "Norrvik, bed 4"
"""What a phone wrote beside the dots."""


def lies_on_its_side() -> bytes:
    """Return a photo as a phone writes it: turned, with place, maker and a small copy."""
    picture = Image.new("RGB", (200, 100), (20, 20, 20))
    picture.paste((240, 240, 240), (0, 0, 40, 100))  # light at the left, before it is turned
    exif = Image.Exif()
    exif[0x0112] = 6  # turn by a quarter, clockwise: the left comes to the top
    exif[0x010E] = BESIDE
    exif.get_ifd(0x8825)[2] = (59.0, 20.0, 5.0)
    out = io.BytesIO()
    xmp = f"<x:xmpmeta>{BESIDE}</x:xmpmeta>".encode()
    picture.save(out, "JPEG", exif=exif, xmp=xmp, comment=BESIDE.encode(), icc_profile=b"p" * 200)
    return out.getvalue()


def test_nothing_but_upright_dots_is_left() -> None:
    sent = lies_on_its_side()
    assert BESIDE.encode() in sent
    with ReaderApart() as reader:
        kept = reader.bare(sent)
    assert kept == bare_picture(sent)
    assert BESIDE.encode() not in kept
    assert b"Exif" not in kept
    with Image.open(io.BytesIO(kept)) as shown:
        assert shown.size == (100, 200)
        assert set(shown.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
        dots = np.asarray(shown.convert("L"))
    assert dots[:30].mean() > 200
    assert dots[60:].mean() < 100


@pytest.mark.parametrize("kind", ["PNG", "WEBP", "GIF"])
def test_other_formats_keep_no_words_either(kind: str) -> None:
    words = PngImagePlugin.PngInfo()
    words.add_text("Comment", BESIDE)
    out = io.BytesIO()
    Image.new("RGBA", (30, 20), (9, 9, 9, 90)).save(out, kind, pnginfo=words, comment=BESIDE)
    kept = bare_picture(out.getvalue())
    assert BESIDE.encode() not in kept
    with Image.open(io.BytesIO(kept)) as shown:
        assert (shown.format, shown.size) == ("JPEG", (30, 20))


def test_a_large_one_is_made_smaller_and_what_is_no_photo_is_refused() -> None:
    out = io.BytesIO()
    Image.new("L", (8000, 6000), 90).save(out, "JPEG")
    with Image.open(io.BytesIO(bare_picture(out.getvalue()))) as shown:
        assert shown.width * shown.height <= ENOUGH_DOTS
        assert shown.width / shown.height == pytest.approx(8 / 6, abs=0.01)
    for data, code in (
        (b"", "empty-file"),
        (b"%PDF-1.7\n", "not-a-picture"),
        (lies_on_its_side()[:400], "broken-picture"),
    ):
        with pytest.raises(UnreadablePicture) as unread:
            bare_picture(data)
        assert unread.value.code == code
