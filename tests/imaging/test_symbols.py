"""Symbols on pictures drawn elsewhere (`tests/data/images/README.md`): text, identifier, place."""

import io
import json
import math
import tracemalloc
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from types import ModuleType
from typing import Any, Final

import numpy as np
import pytest
import zxingcpp
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from traceability.imaging import second_reader
from traceability.imaging.looks import Seen
from traceability.imaging.photo import LARGEST_DOTS, upright
from traceability.imaging.places import Place
from traceability.imaging.read_symbol import ReadSymbol, UnreadablePicture
from traceability.imaging.sightings import Sightings
from traceability.imaging.symbols import FRAME, read_picture, read_symbols

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

    Ends of bars are found to a cell or two of the search, corners of matrix symbols to some dots.
    """
    first, second, third, fourth = ((round(x), round(y)) for x, y in box)
    drawn_at = replace(read, box=(first, second, third, fourth))
    way = angle(read.box) - angle(drawn_at.box)
    same_way = abs((way + 180) % 360 - 180) < 15
    size = float(np.hypot(*np.subtract(box[1], box[0])))
    gap = max(np.hypot(x - x2, y - y2) for (x, y), (x2, y2) in zip(read.box, box, strict=True))
    return drawn_at.covers(read.middle) and same_way and bool(gap < 10 + 0.06 * size)


def angle(box: tuple[tuple[int, int], ...]) -> float:
    """Return the direction of the upper edge, in degrees."""
    (left, top), (right, bottom) = box[:2]
    return math.degrees(math.atan2(bottom - top, right - left))


@pytest.mark.parametrize("name", GOOD)
def test_what_was_drawn_is_read_with_its_place(name: str) -> None:
    found = read_symbols((IMAGES / name).read_bytes())
    fair = [each for each in DRAWN[name]["symbols"] if not each["hard"]]
    read = 0
    for symbol in fair:
        allowed = [symbol["symbology_identifier"], *symbol.get("symbology_identifier_also", [])]
        same = [each for each in found if each.text == symbol["text"]]
        read += any(
            each.symbology_identifier in allowed and stands_there(each, symbol["box"])
            for each in same
        )
    assert read == len(fair)
    texts = {symbol["text"] for symbol in DRAWN[name]["symbols"]}
    assert [each for each in found if each.text not in texts] == [], "read what is not there"
    assert not any(each.suspect for each in found), "right, and marked as if it were not"


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


def seen(text: str, view: str, identifier: str = "]E0") -> Seen:
    corners = np.array([(100.0, 100.0), (300.0, 100.0), (300.0, 140.0), (100.0, 140.0)])
    return Seen(text=text, symbology_identifier=identifier, corners=corners, way=view)


PLACE: Final = Place(
    bars=True,
    corners=np.array([(98, 98), (302, 98), (302, 142), (98, 142)], np.float32),
    strength=1,
)


def told(*looks: tuple[str, str, str]) -> list[tuple[str, bool]]:
    """Return texts and doubts after looks at one place: text, symbology identifier, view."""
    sightings = Sightings([PLACE])
    for text, identifier, view in looks:
        sightings.add([seen(text, view, identifier)], PLACE, view)
    return [(each.text, each.suspect) for each in sightings.symbols()]


def test_bars_that_one_view_alone_saw_are_suspect_and_kept() -> None:
    """Misreads with a right check digit were each seen in one view only (measured)."""
    assert told(("9521234543213", "]E0", "whole")) == [("9521234543213", True)]
    again = ("9521234543213", "]E0", "mean")
    assert told(again, again) == [("9521234543213", True)], "the same rows err together"
    assert told(("9521234543213", "]E0", "whole"), again) == [("9521234543213", False)]


def test_two_looks_at_the_same_bars_that_disagree_are_both_suspect() -> None:
    """9521234543213 and 9521234543282 both have a right check digit: nothing tells which it is."""
    first, second = ("9521234543213", "]E0"), ("9521234543282", "]E0")
    looks = [(*first, "whole"), (*first, "mean"), (*second, "whole"), (*second, "band 1")]
    assert sorted(told(*looks)) == [("9521234543213", True), ("9521234543282", True)]


def test_one_look_is_enough_where_symbol_and_text_both_carry_a_check() -> None:
    """Code 128 has its check character, HIBC one in its text; a plain text has no second."""
    assert told(("+A999PACK1/$$3271130LOT7I", "]C0", "whole")) == [
        ("+A999PACK1/$$3271130LOT7I", False)
    ]
    assert told(("9999-0417 A", "]C0", "whole")) == [("9999-0417 A", True)]


def test_a_check_in_the_text_that_fails_is_suspect_however_often_it_is_seen() -> None:
    looks = [("19521234543211", "]I0", view) for view in ("whole", "mean", "band 1")]
    assert told(*looks) == [("19521234543211", True)]


def test_the_second_reader_confirms_and_never_finds(monkeypatch: pytest.MonkeyPatch) -> None:
    pixels = np.asarray(drawn("EAN13", "9521234543213"))
    assert second_reader.confirms(pixels, "9521234543220") is False
    monkeypatch.setattr(second_reader, "import_module", _no_library)
    second_reader._reader.cache_clear()
    assert second_reader.confirms(pixels, "9521234543213") is False, "without its library"
    second_reader._reader.cache_clear()


def _no_library(name: str) -> ModuleType:
    raise ImportError(name)


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


def test_a_large_picture_is_read_as_well() -> None:
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


@pytest.mark.parametrize("seed", range(4))
def test_noise_and_stripes_hold_no_symbol(seed: int) -> None:
    chance = np.random.default_rng(seed)
    noise = chance.integers(0, 256, (600, 800)).astype(np.uint8)
    widths = chance.integers(2, 9, 200)
    bars = np.repeat(np.arange(200) % 2 * 255, widths).astype(np.uint8)[:780]
    noise[200:400, 10 : 10 + len(bars)] = bars
    assert [each for each in read_picture(noise) if not each.suspect] == []


def test_a_frame_of_a_live_camera_is_read_with_less_effort() -> None:
    frame = np.full((720, 1280), 200, np.uint8)
    symbol = np.asarray(
        drawn("DataMatrix", "(01)09521234543213(10)A1", gs1=True, force_square=True)
    )
    frame[300 : 300 + symbol.shape[0], 500 : 500 + symbol.shape[1]] = symbol
    (read,) = read_picture(frame, spend=FRAME)
    assert (read.text, read.suspect) == ("010952123454321310A1", False)


@given(st.data())
def test_a_damaged_file_ends_in_an_answer_or_a_code_and_nothing_else(data: st.DataObject) -> None:
    good = bytearray((IMAGES / "clean_1_06.jpg").read_bytes())
    for _ in range(data.draw(st.integers(1, 8))):
        at = data.draw(st.integers(0, len(good) - 1) | st.integers(0, 700))
        good[at] = data.draw(st.integers(0, 255))
    cut = data.draw(st.integers(0, len(good)))
    with suppress(UnreadablePicture):
        assert upright(bytes(good[:cut])).size > 0
