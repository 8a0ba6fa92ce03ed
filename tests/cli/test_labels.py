"""Sheets on paper, as a scanner finds them: rasterised, and read back."""

import re
import subprocess
from pathlib import Path

import zxingcpp
from PIL import Image

from tests.cli.test_commands import Command, command, environment, services
from traceability.domain.tags import OwnSymbol, read_symbol
from traceability.wiring import Services

__all__ = ["command", "environment", "services"]


def _symbols(pdf: Path) -> list[str]:
    """Return the texts of all symbols on a sheet printed at 203 dpi."""
    subprocess.run(["pdftoppm", "-r", "203", "-png", pdf, pdf.with_suffix("")], check=True)
    pages = sorted(pdf.parent.glob(f"{pdf.stem}-*.png"))
    return [found.text for page in pages for found in zxingcpp.read_barcodes(Image.open(page))]


def test_every_sheet_reads_back_as_symbols_of_ours_and_the_samples_as_no_sites(
    command: Command, tmp_path: Path
) -> None:
    said = command("labels", "--out", str(tmp_path / "out"))
    assert said.exit_code == 0
    read = {Path(line).stem: _symbols(Path(line)) for line in said.stdout.splitlines()}
    assert all(
        isinstance(read_symbol(text), OwnSymbol) for texts in read.values() for text in texts
    )
    assert len(read["act-cards"]) == len(set(read["act-cards"])) > 20
    assert [len(read[name]) for name in ("sample-places", "sample-badge")] == [2, 1]
    (tag,) = read["sample-circuit-tag"]
    assert tag.startswith("CT1.SAMP.C-0000.")


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
