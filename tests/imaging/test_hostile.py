"""Pictures that are no honest ones, or far from what a camera sends: bounded, and a sentence."""

import io
import json
import resource
import subprocess
import sys
from typing import Any, Final

import cv2
import numpy as np
import pytest
from PIL import Image
from reportlab.lib.utils import ImageReader
from reportlab.pdfgen.canvas import Canvas

from tests.imaging.test_symbols import IMAGES, drawn, png
from traceability.imaging.apart import ReaderApart
from traceability.imaging.photo import MOST_PAGES
from traceability.imaging.read_symbol import UnreadablePicture
from traceability.imaging.symbols import read_symbols
from traceability.messages import say_unreadable

GTIN: Final = "(01)09521234543213"


def gs1(lot: str, scale: int = 4) -> Image.Image:
    return drawn("DataMatrix", f"{GTIN}(10){lot}", scale, gs1=True, force_square=True)


def pdf(pages: list[Image.Image], **options: Any) -> bytes:
    buffer = io.BytesIO()
    canvas = Canvas(buffer, pagesize=(595, 842), **options)
    for page in pages:
        canvas.drawImage(ImageReader(page), 100, 400, width=72, height=72)
        canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def refused(data: bytes) -> str:
    with pytest.raises(UnreadablePicture) as unread:
        read_symbols(data)
    return unread.value.code


def test_ten_pages_are_read_and_each_symbol_says_on_which_it_stands() -> None:
    read = read_symbols(pdf([gs1(f"P{number}") for number in range(1, 11)]))
    assert [(each.page, each.text) for each in read] == [
        (number, f"010952123454321310P{number}") for number in range(1, 11)
    ]
    # 200 dots an inch: the page is 595 by 842 points, the symbol one inch wide, and white round it.
    assert all(270 < x < 490 for each in read for x, _ in each.box)


def test_pages_of_a_scan_are_all_read() -> None:
    buffer = io.BytesIO()
    first, second = gs1("A1"), gs1("A2")
    first.save(buffer, "TIFF", save_all=True, append_images=[second])
    assert [(each.page, each.text[-2:]) for each in read_symbols(buffer.getvalue())] == [
        (1, "A1"),
        (2, "A2"),
    ]


def test_too_many_pages_a_locked_and_a_broken_pdf_have_codes_of_their_own() -> None:
    assert refused(pdf([gs1("A1")] * (MOST_PAGES + 1))) == "too-many-pages"
    assert refused(pdf([gs1("A1")], encrypt="secret")) == "locked-pages"
    assert refused(pdf([gs1("A1")])[:300]) == "broken-picture"


@pytest.mark.parametrize("kind", ["GIF", "PNG", "WEBP"])
def test_of_a_moving_picture_the_first_frame_is_read(kind: str) -> None:
    buffer = io.BytesIO()
    gs1("A1").save(buffer, kind, save_all=True, append_images=[gs1("B2")])
    assert [each.text for each in read_symbols(buffer.getvalue())] == ["010952123454321310A1"]


@pytest.mark.parametrize("kind", [".png", ".tiff"])
def test_sixteen_bits_a_colour_are_read(kind: str) -> None:
    deep = np.repeat(np.asarray(gs1("A1"))[..., None], 3, axis=2).astype(np.uint16) * 257
    _, data = cv2.imencode(kind, deep)
    assert [each.text for each in read_symbols(data.tobytes())] == ["010952123454321310A1"]


@pytest.mark.parametrize("kind", ["JPEG", "PNG"])
def test_fifty_megapixels_are_read_in_the_picture_s_own_dots(kind: str) -> None:
    paper = Image.new("RGB", (8660, 5774), (210, 200, 190))
    paper.paste(gs1("A1", scale=12), (5000, 3000))
    buffer = io.BytesIO()
    paper.save(buffer, kind)
    (read,) = read_symbols(buffer.getvalue())
    assert read.text == "010952123454321310A1"
    assert all(5000 < x < 5500 and 3000 < y < 3500 for x, y in read.box)


@pytest.mark.parametrize(("kind", "mode"), [("JPEG", "RGB"), ("PNG", "RGBA"), ("PNG", "P")])
def test_a_large_picture_that_lies_on_its_side_is_turned_and_made_smaller(
    kind: str, mode: str
) -> None:
    """EXIF 274 = 6: the camera was turned; the first row is the right side (from memory)."""
    paper = Image.new("RGB", (5000, 4000), (210, 200, 190))
    paper.paste(gs1("A1", scale=10), (4000, 500))
    exif = Image.Exif()
    exif[274] = 6
    buffer = io.BytesIO()
    paper.transpose(Image.Transpose.ROTATE_90).convert(mode).save(buffer, kind, exif=exif)
    (read,) = read_symbols(buffer.getvalue())
    assert all(4000 < x < 4400 and 500 < y < 900 for x, y in read.box)


def test_sixty_symbols_are_sixty() -> None:
    paper = Image.new("L", (2000, 1400), 235)
    for number in range(60):
        one = gs1(f"S{number:02}", scale=3).resize((150, 150))
        paper.paste(one, (40 + number % 10 * 190, 40 + number // 10 * 220))
    texts = [each.text[-3:] for each in read_symbols(png(paper))]
    assert sorted(texts) == [f"S{number:02}" for number in range(60)]


@pytest.mark.parametrize(
    "text",
    ["<script>alert(1)</script>", "=HYPERLINK(1)", "\x1b[2J\x1b]0;x\x07", "\u202edrow", "a\x00b"],
)
def test_hostile_text_comes_back_as_it_is_and_is_only_text(text: str) -> None:
    (read,) = read_symbols(png(drawn("QRCode", text)))
    assert read.text == text


def test_nothing_can_be_read_from_one_dot_or_one_line() -> None:
    for size in ((1, 1), (3000, 1), (1, 3000), (31, 31)):
        assert read_symbols(png(Image.new("L", size, 90))) == ()


def test_every_code_has_a_sentence_that_says_what_to_do() -> None:
    codes = UnreadablePicture.__doc__ or ""
    told = [part.split('"')[0] for part in codes.split(' "')[1:]]
    assert len(told) == 8
    for code in told:
        sentence = say_unreadable(code, {"seconds": 5, "pages": 40, "width": 9, "height": 9})
        assert sentence.endswith(".")
        assert sentence.count(".") >= 2


def test_a_reader_that_takes_too_long_is_ended_and_the_next_picture_is_read() -> None:
    data = png(gs1("A1"))
    with ReaderApart(longest_s=0.01) as hasty, pytest.raises(UnreadablePicture) as late:
        hasty.read(data)
    assert late.value.code == "took-too-long"
    with ReaderApart() as reader:
        assert len(reader.read(data)) == 1
        assert len(reader.read(data, live=True)) == 1
        assert reader._process is not None
        reader._process.kill()  # as the system does that has no memory left
        reader._process.wait()
        assert len(reader.read(data)) == 1
        with pytest.raises(UnreadablePicture) as empty:
            reader.read(b"")
        assert empty.value.code == "empty-file"


def test_the_reader_takes_no_more_memory_than_it_is_given() -> None:
    """The largest picture that is opened at all, see-through so that it is unpacked twice."""
    big = Image.fromarray(np.zeros((8000, 9900, 4), np.uint8))
    data = png(big, compress_level=1)
    with ReaderApart() as reader:
        assert reader.read(data) == ()
    most = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss * 1024
    assert most < 1_500_000_000


def test_the_command_answers_every_file_in_order() -> None:
    names = ["clean_1_06.jpg", "hostile_empty.jpg", "hostile_bomb.png", "hostile_text.jpg"]
    files = [*(str(IMAGES / name) for name in names), "gone\n.jpg"]
    run = subprocess.run(
        [sys.executable, "-m", "traceability", "read-image", *files],
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    )
    answers = [json.loads(line) for line in run.stdout.splitlines()]
    assert [each["file"] for each in answers] == files
    assert all(set(each) == {"file", "symbols", "error"} for each in answers)
    (read,) = answers[0]["symbols"]
    assert set(read) == {"text", "symbology_identifier", "box", "suspect"}
    assert read["text"].startswith("[)>\x1e06\x1d9N1")
    assert read["suspect"] is False
    assert answers[0]["error"] is None
    for answer in answers[1:]:
        assert answer["symbols"] == []
        assert answer["error"].endswith(".")
