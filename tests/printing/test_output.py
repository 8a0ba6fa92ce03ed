"""What leaves for a printer: dots as commands, and the system's own print queue."""

import io
import os
import re
import stat
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from zplkit import Options, render
from zplkit.output import Limits as OutputLimits
from zplkit.rendering import Limits

from traceability.printing.graphics import as_printer_graphics
from traceability.printing.queue import NotPrinted, can_print, send_to_queue
from traceability.printing.raster import as_png
from traceability.printing.samples import label_names, sample
from traceability.settings import RESOLUTIONS

WHOLE = OutputLimits(pixels=80_000_000)
ROOM = Limits(graphic_bytes=9_000_000, input_bytes=20_000_000, pixels=80_000_000)
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


@pytest.fixture
def lp(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A command of the system's name and manners; a printer is on no test machine."""
    command = tmp_path / "lp"
    command.write_text(
        "#!/bin/sh\n"
        'if [ "$2" = gone ]; then echo "lp: no such destination" >&2; exit 1; fi\n'
        f'echo "$@" > {tmp_path}/asked\ncat > {tmp_path}/data\necho "request id is tags-7"\n'
    )
    command.chmod(command.stat().st_mode | stat.S_IXUSR)
    monkeypatch.setenv("PATH", f"{tmp_path}:{os.environ['PATH']}")
    return tmp_path


def test_a_print_reaches_its_queue_unscaled(lp: Path) -> None:
    made = sample("place")
    assert send_to_queue(made.pdf, queue="tags", title="Places") == "request id is tags-7"
    assert (lp / "data").read_bytes() == made.pdf
    asked = (lp / "asked").read_text()
    assert "-d tags" in asked
    assert "print-scaling=none" in asked
    graphics = as_printer_graphics(made)
    send_to_queue(graphics, queue="tags", title="Places", graphics=True)
    assert (lp / "data").read_bytes() == graphics
    assert "-o raw" in (lp / "asked").read_text()


@pytest.mark.parametrize("queue", ["gone", "", "-h"])
def test_a_queue_that_is_not_there_is_said(lp: Path, queue: str) -> None:
    with pytest.raises(NotPrinted, match="queue"):
        send_to_queue(b"%PDF", queue=queue, title="x")


def test_a_system_without_the_command_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", "")
    assert not can_print()
    with pytest.raises(NotPrinted, match="no printing command"):
        send_to_queue(b"%PDF", queue="tags", title="x")
