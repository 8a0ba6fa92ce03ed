"""Every label there is, at every resolution: measured against the standards, read through noise."""

import math
from dataclasses import replace
from functools import cache
from typing import Final

import numpy as np
import pytest
import zxingcpp
from numpy.typing import NDArray
from PIL import Image, ImageFilter

from tests.printing.paper import Dots, pages, runs_of_dots, sizes_mm
from traceability.domain.own_keys import OwnKeys
from traceability.domain.tags import circuit_symbol
from traceability.printing.barcodes import TYPES
from traceability.printing.label_file import load_label
from traceability.printing.notices import print_notice
from traceability.printing.paper import Printed
from traceability.printing.pdf import PlacedSymbol
from traceability.printing.samples import NOTICE, PERSON, PLACE, TAG, label_names, sample
from traceability.printing.sheets import print_badges, print_places
from traceability.printing.tags import print_tag

RESOLUTIONS: Final = (203, 300, 600)
QUIET: Final = {
    "datamatrix": 1,  # ISO/IEC 16022, quiet zone: 1 X on all four sides (from memory)
    "gs1-datamatrix": 1,  # GS1 General Specifications, section 5.6: 1 X (from memory)
    "qr": 4,  # ISO/IEC 18004, quiet zone: 4 X on all four sides (from memory)
    "code128": 10,  # ISO/IEC 15417, quiet zone: 10 X (from memory)
    "gs1-128": 10,  # GS1 General Specifications, section 5.4: 10 X (from memory)
    "code39": 10,  # ISO/IEC 16388, quiet zone: 10 X (from memory)
    "ean13": 11,  # GS1 General Specifications, section 5.2: 11 X left, 7 X right (from memory)
}
LEAST_X_MM: Final = 0.25
"""GS1 General Specifications, symbol specification tables for healthcare: 0.254 mm for Data Matrix
and GS1-128 where it is not sold at a counter (from memory). Two dots of 203 dpi are 0.2502 mm: the
scanner sheet and the ruler go there on purpose, tags and labels in use do not (see below)."""
IN_USE_X_MM: Final = 0.33
ON_PURPOSE: Final = frozenset({"ruler", "scanner_trial"})

EVERY: Final = [(name, dpi) for name in label_names() for dpi in RESOLUTIONS]


@cache
def printed(name: str, dpi: int) -> tuple[Printed, list[Dots]]:
    """Return a sample and what poppler draws of its PDF."""
    made = sample(name, dpi=dpi)
    return made, pages(made.pdf, dpi)


def looked_at(symbol: PlacedSymbol, drawn: list[Dots]) -> Dots:
    """Return the dots of a symbol and its quiet zone, as poppler drew them."""
    return drawn[symbol.page][symbol.around]


def read(dots: Dots, kind: str) -> list[tuple[str, str]]:
    """Return text and symbology identifier of each symbol that a reader finds."""
    found = zxingcpp.read_barcodes(
        dots,
        formats=zxingcpp.barcode_formats_from_str(TYPES[kind].zxing.name),
        text_mode=zxingcpp.TextMode.Plain,
    )
    return [(each.text, each.symbology_identifier) for each in found]


@pytest.mark.parametrize(("name", "dpi"), EVERY)
def test_every_symbol_reads_back_from_the_paper(name: str, dpi: int) -> None:
    made, drawn = printed(name, dpi)
    assert not made.plain
    assert made.symbols
    for symbol in made.symbols:
        ((text, identifier),) = read(_as_seen(looked_at(symbol, drawn), symbol), symbol.kind)
        assert text == symbol.text
        assert identifier in TYPES[symbol.kind].identifiers


LONG: Final = OwnKeys(prefix="952123456789", location="9521234000006")
"""The longest prefix there is, under 952 (GS1's for demonstrations)."""


def keyed(name: str, dpi: int) -> Printed:
    """Return a sample whose symbol is the longest GS1 key that it can have to carry."""
    label, tag = load_label(name), LONG.carrying(circuit_symbol("7QXM", "C-12345"))
    if label.of == "circuit":
        return print_tag(replace(TAG, symbol=tag), dpi=dpi, label=label)
    if label.of == "notice":
        return print_notice(name, replace(NOTICE, symbol=tag), dpi=dpi)
    if label.of == "person":
        return print_badges([{**PERSON, "code": LONG.badge_code(str)}], dpi=dpi)
    place, kind = {**PLACE, "code": "CONSOLE-123"}, name.partition("_")[2]
    return print_places([place], site_code="7QXM", kind=kind, keys=LONG, dpi=dpi)


@pytest.mark.parametrize("dpi", RESOLUTIONS)
@pytest.mark.parametrize(
    "name",
    [n for n in label_names() if load_label(n).of in {"circuit", "notice", "person", "place"}],
)
def test_every_label_has_room_for_a_gs1_key(name: str, dpi: int) -> None:
    made = keyed(name, dpi)
    drawn = pages(made.pdf, dpi)
    (symbol,) = [each for each in made.symbols if each.kind == "gs1-datamatrix"]
    assert read(_as_seen(looked_at(symbol, drawn), symbol), symbol.kind) == [(symbol.text, "]d2")]
    assert symbol.module * 25.4 / dpi >= IN_USE_X_MM


@pytest.mark.parametrize(("name", "dpi"), EVERY)
def test_x_dimension_is_whole_dots_and_the_quiet_zone_is_the_standards(name: str, dpi: int) -> None:
    made, drawn = printed(name, dpi)
    least = LEAST_X_MM if name in ON_PURPOSE else IN_USE_X_MM
    for symbol in made.symbols:
        dots = looked_at(symbol, drawn)
        assert set(np.unique(dots)) == {0, 255}, "an edge between two dots would be grey"
        module = math.gcd(*runs_of_dots(dots))
        assert module == symbol.module
        assert module * 25.4 / dpi >= least
        dark = dots < 128
        columns = np.flatnonzero(dark.any(axis=0))
        need = QUIET[symbol.kind] * module
        assert columns[0] >= need, "free to the left"
        assert dots.shape[1] - 1 - columns[-1] >= need, "free to the right"
        if not TYPES[symbol.kind].linear:
            rows = np.flatnonzero(dark.any(axis=1))
            assert rows[0] >= need, "free above"
            assert dots.shape[0] - 1 - rows[-1] >= need, "free below"


@pytest.mark.parametrize(("name", "dpi"), EVERY)
def test_the_preview_is_the_label_itself(name: str, dpi: int) -> None:
    """The dots that a preview shows and a label printer gets are those of the PDF.

    Letters may differ by a tenth of a millimetre at their edges: poppler greys them, a label
    printer cannot, and it does not fit them to the dots.
    """
    made, drawn = printed(name, dpi)
    assert len(made.pages) == len(drawn)
    for ours, theirs in zip(made.pages, drawn, strict=True):
        assert ours.shape == theirs.shape
    for symbol in made.symbols:
        ours = made.pages[symbol.page][symbol.around]
        assert np.array_equal(ours, looked_at(symbol, drawn) < 128)
    for ours, theirs in zip(made.pages, drawn, strict=True):
        edge = round(0.13 * dpi / 25.4)
        assert not (ours & ~_thicker(theirs < 230, edge)).any(), "black where the PDF is white"
        assert not ((theirs < 60) & ~_thicker(ours, edge)).any(), "white where the PDF is black"


def _thicker(black: NDArray[np.bool_], by: int) -> NDArray[np.bool_]:
    picture = Image.fromarray(black).convert("L").filter(ImageFilter.MaxFilter(2 * by + 1))
    return np.asarray(picture) > 0


@pytest.mark.parametrize(("name", "dpi"), EVERY)
def test_the_page_keeps_its_millimetres(name: str, dpi: int) -> None:
    made, _ = printed(name, dpi)
    label = load_label(name)
    wide, tall = sizes_mm(made.pdf)[0]
    on_a4 = label.of in {"card", "trial"}
    assert wide == pytest.approx(210 if on_a4 else label.width, abs=0.13)  # half a dot of 203 dpi
    assert tall == pytest.approx(297 if on_a4 else label.height, abs=0.13)


@pytest.mark.parametrize("scale", [0.97, 1.0, 1.03])
@pytest.mark.parametrize(("name", "dpi"), [each for each in EVERY if each[0] != "ruler"])
def test_every_symbol_is_read_through_a_bad_print(name: str, dpi: int, scale: float) -> None:
    """Two dots of a hundred wrong, edges blurred, and the whole three percent too small or large.

    The model, common practice, no source: 2 % of all dots turned, ink that runs as a Gaussian of
    .3 X, contrast cut to 70 %, 2 % of noise in the camera, and a view of 5 pixels a module.
    Not the ruler's: its symbol is there to fail on a printer that cannot draw two dots.
    """
    made, drawn = printed(name, dpi)
    chance = np.random.default_rng(7)
    unread = [
        symbol.text
        for symbol in made.symbols
        if symbol.text
        not in [text for text, _ in read(_worn(symbol, drawn, scale, chance), symbol.kind)]
    ]
    assert unread == []


def _as_seen(dots: Dots, symbol: PlacedSymbol) -> Dots:
    """Return a symbol as a camera near enough sees it: 6 pixels a module."""
    image = Image.fromarray(dots)
    size = [round(side * 6 / symbol.module) for side in image.size]
    return np.asarray(image.resize((size[0], size[1]), Image.Resampling.BOX))


def _worn(
    symbol: PlacedSymbol, drawn: list[Dots], scale: float, chance: np.random.Generator
) -> Dots:
    dots = looked_at(symbol, drawn).copy()
    turned = chance.random(dots.shape) < 0.02
    dots[turned] = 255 - dots[turned]
    image = Image.fromarray(dots).filter(ImageFilter.GaussianBlur(0.3 * symbol.module))
    size = [round(side * scale * 5 / symbol.module) for side in image.size]
    seen = np.asarray(image.resize((size[0], size[1]), Image.Resampling.BICUBIC), dtype=np.float64)
    grey = 40 + seen * 0.7 + chance.normal(0, 0.02 * 255, seen.shape)
    return np.clip(np.pad(grey, 10, constant_values=218), 0, 255).astype(np.uint8)
