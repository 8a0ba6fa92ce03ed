"""Sheets on paper, as a scanner finds them: rasterised, and read back."""

import re
import subprocess
from pathlib import Path

import pytest
import zxingcpp
from PIL import Image

from tests.cli.test_commands import Command, command, environment, services
from traceability.domain.tags import OwnSymbol, read_symbol
from traceability.printing.samples import label_names
from traceability.wiring import Services

__all__ = ["command", "environment", "services"]


def _symbols(pdf: Path) -> list[str]:
    """Return the texts of all symbols on a sheet printed at 203 dpi."""
    subprocess.run(["pdftoppm", "-r", "203", "-png", pdf, pdf.with_suffix("")], check=True)
    pages = sorted(pdf.parent.glob(f"{pdf.stem}-*.png"))
    return [
        found.text
        for page in pages
        for found in zxingcpp.read_barcodes(Image.open(page), text_mode=zxingcpp.TextMode.Plain)
    ]


def test_every_sheet_reads_back_and_the_samples_are_no_sites(
    command: Command, tmp_path: Path
) -> None:
    said = command("labels", "--out", str(tmp_path / "out"))
    assert said.exit_code == 0
    paths = {Path(line).stem: Path(line) for line in said.stdout.splitlines()}
    assert set(paths) == {name.replace("_", "-") for name in label_names()}
    assert f"{len(paths)} of {len(paths)}" in said.stderr
    cards = _symbols(paths["act-card"])
    assert len(cards) == len(set(cards)) > 20
    assert all(isinstance(read_symbol(text), OwnSymbol) for text in cards)
    for name in ("circuit-tag", "circuit-tag-large", "on-hold", "drape-tag"):
        read = _symbols(paths[name])
        assert any(text.startswith("CT1.SAMP.C-0000.") for text in read), name
        assert all(text[3:].startswith(".SAMP.") for text in read), name


@pytest.mark.parametrize("form", ["png", "graphics"])
def test_dots_are_written_for_a_printer_of_any_resolution(
    command: Command, tmp_path: Path, form: str
) -> None:
    said = command("labels", "--out", str(tmp_path), "--as", form, "--dpi", "300")
    assert said.exit_code == 0
    if form == "png":
        picture = Image.open(tmp_path / "circuit-tag.png")
        assert picture.size == (1181, 732)  # 100 x 62 mm in whole dots of 300 to an inch
        assert len(zxingcpp.read_barcodes(picture)) == 2
    else:
        assert (tmp_path / "circuit-tag.txt").read_bytes().startswith(b"^XA^PW1181^LL732")


def test_a_queue_that_is_not_there_leaves_the_files(command: Command, tmp_path: Path) -> None:
    said = command("labels", "--out", str(tmp_path), "--queue", "no-such-queue")
    assert said.exit_code == 3
    assert "print them by hand" in said.stderr
    assert list(tmp_path.glob("*.pdf"))


def test_one_picture_shows_all_labels(command: Command, tmp_path: Path) -> None:
    file = tmp_path / "labels.png"
    assert command("labels", "--contact", str(file)).exit_code == 0
    picture = Image.open(file)
    assert picture.width == 1600
    assert len(zxingcpp.read_barcodes(picture)) > len(label_names())


def test_a_printed_badge_carries_the_code_that_was_given_out_and_not_the_name(
    command: Command, services: Services, tmp_path: Path
) -> None:
    assert services.site
    file = tmp_path / "badge.pdf"
    said = command("person", "new", "Bo Ek", "--role", "helper", "--print", str(file))
    code = re.findall(r"Badge symbol\s+(\S+)", said.stdout)
    assert _symbols(file) == code
    text = subprocess.check_output(["pdftotext", file, "-"], text=True)
    assert "Bo Ek" in text
    assert code[0].split(".")[1] not in text
