"""What leaves for a printer: dots as commands, and the system's own print queue."""

import io
import math
import re

import numpy as np
import pytest
import zxingcpp
from PIL import Image
from zplkit import Options, render
from zplkit.output import Limits as OutputLimits
from zplkit.rendering import Limits

from tests.printing.paper import Dots
from tests.printing.print_system import LabelPrinter
from traceability.printing.barcodes import made_symbol
from traceability.printing.graphics import as_printer_graphics
from traceability.printing.paper import Printed
from traceability.printing.queue import NotPrinted, queue_says, send_to_queue
from traceability.printing.raster import as_png
from traceability.printing.samples import label_names, sample
from traceability.settings import RESOLUTIONS

WHOLE = OutputLimits(pixels=80_000_000)
ROOM = Limits(
    graphic_bytes=9_000_000,
    input_bytes=20_000_000,
    pixels=80_000_000,
    segments=20_000_000,
    stored_graphic_segments=20_000_000,
)
"""An A4 at 600 dots an inch."""


@pytest.mark.parametrize("dpi", RESOLUTIONS)
@pytest.mark.parametrize("name", label_names())
def test_a_printer_draws_every_dot_of_the_label(name: str, dpi: int) -> None:
    """Drawn by a renderer of the printers' language that shares no code with what wrote it."""
    made = sample(name, dpi=dpi)
    drawn = render(
        as_printer_graphics(made), Options(profile="specification", dpi=dpi), limits=ROOM
    )
    assert not drawn.warnings
    assert len(drawn.labels) == len(made.pages)
    for label, page in zip(drawn.labels, made.pages, strict=True):
        dots = label.rasterize(limits=WHOLE)
        got = np.frombuffer(dots.pixels, np.uint8).reshape(dots.height, dots.width) < 128
        assert np.array_equal(got, page)


def test_a_label_says_its_own_size_and_origin_and_is_ascii() -> None:
    """A printer keeps size and origin of the label before."""
    made = sample("place")
    tall, wide = made.pages[0].shape
    sent = as_printer_graphics(made).decode("ascii")
    assert sent.startswith(f"^XA^PW{wide}^LL{tall}^LH0,0^FO0,0^GFA,")


def test_no_picture_is_larger_than_a_printer_counts() -> None:
    """At most 99,999 bytes a picture (the language's published manual, `^GF`, from memory)."""
    sent = as_printer_graphics(sample("circuit_tag", dpi=600)).decode("ascii")
    counts = [int(count) for count in re.findall(r"\^GFA,\d+,(\d+),", sent)]
    assert len(counts) == 5
    assert max(counts) <= 99_999


def test_the_preview_holds_the_same_dots_and_its_size() -> None:
    made = sample("circuit_tag", dpi=300)
    picture = Image.open(io.BytesIO(as_png(made.pages[0], made.dpi)))
    assert np.array_equal(~np.asarray(picture), made.pages[0])
    assert picture.info["dpi"] == pytest.approx((300, 300), abs=0.1)


def drawn(commands: bytes, made: Printed) -> Dots:
    """Return the dots that a label printer makes of one label."""
    tall, wide = made.pages[0].shape
    options = Options(profile="specification", dpi=made.dpi, width=wide, height=tall)
    (label,) = render(commands, options, limits=ROOM).labels
    dots = label.rasterize(limits=WHOLE)
    return np.frombuffer(dots.pixels, np.uint8).reshape(dots.height, dots.width)


def test_commands_reach_the_printer_byte_for_byte_through_the_system(printer: LabelPrinter) -> None:
    made = sample("circuit_tag")
    said = send_to_queue(made, queue="tags", title="C-0001", graphics=True)
    assert "tags-1" in said
    assert printer.gets(1) == as_printer_graphics(made)
    assert np.array_equal(drawn(printer.gets(1), made) < 128, made.pages[0])


def test_a_pdf_keeps_its_size_through_a_label_printer_s_driver(printer: LabelPrinter) -> None:
    """The system's own sample driver draws it at 203 dots an inch; the symbols keep their dots."""
    made = sample("circuit_tag")
    send_to_queue(made, queue="labels", title="C-0001")
    # What the renderer does not know says nothing of the picture: media, and cleaning up.
    sent = re.sub(rb"\^(MN|PO).\n|\^XA\n\^ID.*\n\^XZ\n", b"", printer.gets(1))
    page = drawn(sent, made)
    for placed in made.symbols:
        found = [
            each
            for each in zxingcpp.read_barcodes(page, text_mode=zxingcpp.TextMode.Plain)
            if each.text == placed.text
        ]
        (read,) = found
        wide = math.dist(corner(read.position.top_left), corner(read.position.top_right))
        across = made_symbol(placed.kind, placed.text).width
        assert wide / across == pytest.approx(placed.module, rel=0.02), "the X-dimension in dots"


def corner(point: zxingcpp.Point) -> tuple[int, int]:
    return point.x, point.y


def test_the_system_says_how_a_queue_is_and_which_is_not_there(printer: LabelPrinter) -> None:
    assert "tags is idle" in queue_says("tags")
    for ask in (queue_says, lambda queue: send_to_queue(sample("place"), queue=queue, title="x")):
        with pytest.raises(NotPrinted, match="gone"):
            ask("gone")
    assert printer.prints == []


@pytest.mark.parametrize("queue", ["", "-h"])
def test_what_is_no_name_of_a_queue_is_never_handed_to_a_command(queue: str) -> None:
    with pytest.raises(NotPrinted, match="No print queue is named"):
        send_to_queue(sample("place"), queue=queue, title="x")


def test_a_system_without_the_command_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", "")
    with pytest.raises(NotPrinted, match="no printing command"):
        send_to_queue(sample("place"), queue="tags", title="x")
