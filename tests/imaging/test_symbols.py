"""Symbols on pictures drawn elsewhere (`tests/data/images/README.md`): text, identifier, place."""

import io
import json
import math
import tracemalloc
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

import numpy as np
import pytest
import zxingcpp
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from traceability.imaging import symbols as reader
from traceability.imaging.photo import LARGEST_DOTS, UnreadablePicture, upright
from traceability.imaging.symbols import ReadSymbol, read_picture, read_symbols

IMAGES: Final = Path(__file__).parents[1] / "data" / "images"
DRAWN: Final[dict[str, dict[str, Any]]] = {
    each["file"]: each for each in json.loads((IMAGES / "manifest.json").read_text("utf-8"))
}
GOOD: Final = [name for name, each in DRAWN.items() if not each["expect_error"]]
WRONG_DIGIT: Final = [
    name for name, each in DRAWN.items() if each["expect_error"] == "gtin_check_digit"
]
REFUSED: Final = {
    "empty_file": "empty-file",
    "not_an_image": "not-a-picture",
    "truncated_image": "broken-picture",
    "image_too_large": "picture-too-large",
}


def png(image: Image.Image, **options: Any) -> bytes:
    buffer = io.BytesIO()
    image.save(buffer, "PNG", **options)
    return buffer.getvalue()


def drawn(kind: str, text: str, scale: int = 4, **options: Any) -> Image.Image:
    """Return a symbol on white paper, made by the reader's own writer."""
    made = zxingcpp.create_barcode(text, getattr(zxingcpp.BarcodeFormat, kind), **options)
    symbol = Image.fromarray(np.asarray(zxingcpp.write_barcode_to_image(made, scale=scale)))
    paper = Image.new("L", (symbol.width + 80, symbol.height + 80), 255)
    paper.paste(symbol, (40, 40))
    return paper


def stands_there(read: ReadSymbol, box: list[list[float]]) -> bool:
    """Tell whether the symbol was found where it was drawn, lying the same way.

    The reader looks at bars along rows of dots: of slanting ones it gives the rows that cross all
    bars, so upper and lower edges are those of a narrower band. Matrix corners are the symbol's.
    """
    first, second, third, fourth = ((round(x), round(y)) for x, y in box)
    drawn_at = replace(read, box=(first, second, third, fourth))
    way = angle(read.box) - angle(drawn_at.box)
    same_way = abs((way + 180) % 360 - 180) < 15
    matrix = read.symbology_identifier[:2] in {"]d", "]Q"}
    gap = max(np.hypot(x - x2, y - y2) for (x, y), (x2, y2) in zip(read.box, box, strict=True))
    return drawn_at.covers(read.middle) and same_way and (not matrix or bool(gap < 10))


def angle(box: tuple[tuple[int, int], ...]) -> float:
    """Return the direction of the upper edge, in degrees."""
    (left, top), (right, bottom) = box[:2]
    return math.degrees(math.atan2(bottom - top, right - left))


@pytest.mark.parametrize("name", GOOD)
def test_what_was_drawn_is_read_with_its_place(name: str) -> None:
    found = read_symbols((IMAGES / name).read_bytes())
    # Six formats, one look and its negative: about 70 of 100 fair symbols of the whole set. On a
    # trolley full of packs that means some; on each of the other pictures here, all.
    fair = [each for each in DRAWN[name]["symbols"] if not each["hard"]]
    least = len(fair) // 2 if DRAWN[name]["condition"] == "trolley" else len(fair)
    read = 0
    for symbol in fair:
        allowed = [symbol["symbology_identifier"], *symbol.get("symbology_identifier_also", [])]
        same = [each for each in found if each.text == symbol["text"]]
        read += any(
            each.symbology_identifier in allowed and stands_there(each, symbol["box"])
            for each in same
        )
    assert read >= least
    texts = {symbol["text"] for symbol in DRAWN[name]["symbols"]}
    assert [each for each in found if each.text not in texts] == [], "read what is not there"
    # Bars that one look alone saw are doubted and kept; matrix symbols correct themselves.
    matrix = [each for each in found if each.symbology_identifier[:2] in {"]d", "]Q"}]
    assert not any(each.suspect for each in matrix)


@pytest.mark.parametrize("name", WRONG_DIGIT)
def test_a_wrong_check_digit_is_reported_and_not_dropped(name: str) -> None:
    found = read_symbols((IMAGES / name).read_bytes())
    assert [(each.text, each.suspect) for each in found] == [
        (DRAWN[name]["symbols"][0]["text"], True)
    ]


@pytest.mark.parametrize("name", [name for name in DRAWN if name.startswith("hostile")])
def test_a_file_that_is_no_honest_picture_is_refused_with_a_code(name: str) -> None:
    with pytest.raises(UnreadablePicture) as refused:
        read_symbols((IMAGES / name).read_bytes())
    assert refused.value.code == REFUSED[DRAWN[name]["expect_error"]]


def test_a_huge_picture_is_refused_before_it_is_unpacked() -> None:
    """The bomb is 46 kB and would be hundreds of megabytes: so little memory is ever taken."""
    data = (IMAGES / "hostile_bomb.png").read_bytes()
    tracemalloc.start()
    with pytest.raises(UnreadablePicture):
        upright(data)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < 5_000_000


def test_one_dot_more_than_allowed_is_too_many() -> None:
    side = int(LARGEST_DOTS**0.5) + 1
    with pytest.raises(UnreadablePicture) as refused:
        upright(png(Image.new("1", (side, side))))
    assert refused.value.code == "picture-too-large"
    assert refused.value.facts == {"width": side, "height": side}


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_picture_is_turned_as_the_camera_says(orientation: int) -> None:
    """EXIF 2.32, tag 274: 1 upright, 2-8 mirrored and turned (from memory)."""
    up = Image.new("L", (60, 40), 255)
    up.paste(0, (0, 0, 20, 10))  # dark in the upper left corner
    back: dict[int, Image.Transpose] = {
        2: Image.Transpose.FLIP_LEFT_RIGHT,
        3: Image.Transpose.ROTATE_180,
        4: Image.Transpose.FLIP_TOP_BOTTOM,
        5: Image.Transpose.TRANSPOSE,
        6: Image.Transpose.ROTATE_90,
        7: Image.Transpose.TRANSVERSE,
        8: Image.Transpose.ROTATE_270,
    }
    stored = up.transpose(back[orientation]) if orientation in back else up
    exif = Image.Exif()
    exif[274] = orientation
    picture = upright(png(stored, exif=exif))
    assert picture.shape == (40, 60)
    assert picture[5, 10] == 0
    assert picture[30, 50] == 255


@pytest.mark.parametrize("mode", ["1", "L", "LA", "P", "RGB", "RGBA", "I;16", "CMYK"])
def test_a_symbol_is_read_in_every_way_of_storing_dots(mode: str) -> None:
    paper = drawn("DataMatrix", "(01)09521234543213(10)A1", gs1=True, force_square=True)
    if mode == "I;16":
        dark = np.asarray(paper).astype(np.uint16) * 257
        data = png(Image.fromarray(dark))
    elif mode == "CMYK":
        buffer = io.BytesIO()
        paper.convert("CMYK").save(buffer, "JPEG", quality=95)
        data = buffer.getvalue()
    else:
        data = png(paper.convert(mode))
    (read,) = read_symbols(data)
    assert (read.text, read.symbology_identifier) == ("010952123454321310A1", "]d2")


def test_black_on_nothing_is_black_on_white() -> None:
    paper = drawn("QRCode", "HELLO")
    clear = Image.new("RGBA", paper.size, (0, 0, 0, 0))
    clear.putalpha(Image.eval(paper, lambda value: 255 - value))
    (read,) = read_symbols(png(clear))
    assert read.text == "HELLO"


@pytest.mark.parametrize(
    ("kind", "text", "identifier"),
    [
        ("Code128", "+A999PACK1/$$3271130LOT7X", "]C0"),
        ("DataMatrix", "+A999PACK1", "]d1"),
        ("EAN13", "9521234543213", "]E0"),
        ("ITF14", "19521234543210", "]I1"),
    ],
)
@pytest.mark.parametrize("light_on_dark", [False, True])
def test_light_on_dark_is_read_and_nothing_is_read_twice(
    kind: str, text: str, identifier: str, light_on_dark: bool
) -> None:
    paper = drawn(kind, text)
    read = read_symbols(png(Image.eval(paper, lambda v: 255 - v) if light_on_dark else paper))
    assert [(each.text, each.symbology_identifier) for each in read] == [(text, identifier)]


def test_five_taps_of_one_lot_are_five_symbols() -> None:
    one = drawn("DataMatrix", "(01)09521234000013(10)T77", gs1=True, force_square=True)
    tray = Image.new("L", (one.width * 5, one.height), 255)
    for number in range(5):
        tray.paste(one, (number * one.width, 0))
    read = read_symbols(png(tray))
    assert [each.text for each in read] == ["010952123400001310T77"] * 5
    assert len({each.box for each in read}) == 5


def test_bars_that_one_look_alone_saw_are_suspect_and_kept(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Misreads with a right check digit were each seen by one look only (measured)."""
    paper = np.asarray(drawn("EAN13", "9521234543213"))
    (read,) = read_picture(paper)
    assert not read.suspect
    monkeypatch.setattr(reader, "_at_other_size", lambda picture: (picture[:1, :1], 1.0))
    (read,) = read_picture(paper)
    assert (read.text, read.suspect) == ("9521234543213", True)


@pytest.mark.parametrize(
    ("text", "suspect"),
    [
        ("+A999PACK1/$$3271130LOT7C", True),  # the check character would be another one
        ("17271130", False),  # the second of two symbols on a pack: no product, and rightly read
    ],
)
def test_a_check_that_fails_is_suspect_and_a_fault_of_the_label_is_not(
    text: str, suspect: bool
) -> None:
    (read,) = read_symbols(png(drawn("DataMatrix", text, force_square=True)))
    assert (read.text, read.suspect) == (text, suspect)


def test_a_picture_too_large_to_enlarge_is_looked_at_smaller() -> None:
    paper = np.full((2400, 3200), 255, np.uint8)
    symbol = np.asarray(drawn("Code128", "9999-0417 A", scale=8))
    paper[900 : 900 + symbol.shape[0], 200 : 200 + symbol.shape[1]] = symbol
    (read,) = read_picture(paper)
    assert (read.text, read.suspect) == ("9999-0417 A", False)
    assert 900 < read.middle[1] < 900 + symbol.shape[0]


def test_the_separator_stays_in_the_text() -> None:
    paper = drawn("DataMatrix", "(10)AB(17)271130", gs1=True, force_square=True)
    (read,) = read_symbols(png(paper))
    assert read.text == "10AB\x1d17271130"


def test_a_piece_of_a_longer_symbol_is_not_taken_for_a_short_one() -> None:
    paper = drawn("ITF", "29506000")
    assert read_symbols(png(paper)) == ()


def test_white_paper_holds_no_symbol() -> None:
    assert read_picture(np.full((1, 1), 255, np.uint8)) == ()
    assert read_picture(np.full((700, 900), 255, np.uint8)) == ()


@given(st.data())
def test_a_damaged_file_ends_in_an_answer_or_a_code_and_nothing_else(data: st.DataObject) -> None:
    good = bytearray((IMAGES / "clean_1_06.jpg").read_bytes())
    for _ in range(data.draw(st.integers(1, 8))):
        at = data.draw(st.integers(0, len(good) - 1) | st.integers(0, 700))
        good[at] = data.draw(st.integers(0, 255))
    cut = data.draw(st.integers(0, len(good)))
    with suppress(UnreadablePicture):
        assert upright(bytes(good[:cut])).size > 0
