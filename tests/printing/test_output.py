"""What leaves for a printer: dots as commands, and the system's own print queue."""

import io
import os
import re
import stat
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from traceability.printing.graphics import as_printer_graphics
from traceability.printing.queue import NotPrinted, can_print, send_to_queue
from traceability.printing.raster import as_png
from traceability.printing.samples import sample


@pytest.mark.parametrize("dpi", [203, 300])
def test_the_commands_hold_every_dot_of_the_label(dpi: int) -> None:
    """Read by the published form of ^GFA: bytes in all, bytes in all, bytes a row, hexadecimal."""
    made = sample("circuit_tag", dpi=dpi)
    sent = as_printer_graphics(made).decode("ascii")
    found = re.fullmatch(
        r"\^XA\^PW(\d+)\^LL(\d+)\^LH0,0\^FO0,0\^GFA,(\d+),(\d+),(\d+),([0-9A-F]+)\^FS\^XZ\n", sent
    )
    assert found is not None
    wide, tall, count, same, across = (int(found[n]) for n in range(1, 6))
    rows = np.frombuffer(bytes.fromhex(found[6]), np.uint8).reshape(tall, across)
    assert count == same == rows.size
    assert np.array_equal(np.unpackbits(rows, axis=1)[:, :wide].astype(bool), made.pages[0])
    assert not np.unpackbits(rows, axis=1)[:, wide:].any(), "nothing beyond the label"


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
