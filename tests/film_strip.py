"""A prime as a strip of pictures, from an invented unit's own pages: part of `make pictures`."""

import re
import tempfile
from pathlib import Path
from typing import Final

from PIL import Image
from playwright.sync_api import Browser

from app import create_app
from tests.browser.person import Person, person
from tests.browser.test_whole_prime import CONNECTOR_CARTON, stocks
from tests.browser.unit import (
    PACK,
    SITE,
    STRONG,
    SYRINGE,
    TAP,
    card,
    gs1,
    make_unit,
)
from tests.servers import served_by_waitress
from traceability.domain.act_cards import Act
from traceability.domain.tags import place_symbol, site_code

FRAME: Final = (640, 400)
ACROSS: Final = 2
GAP: Final = 12
PAPER: Final = "#f2f4f1"

STORY: Final = (
    ("", "Begin"),
    (gs1(PACK, "PK26-104"), "Accepted"),
    (gs1(TAP, "T77-0B1"), "Accepted"),
    (gs1(STRONG, "9X9"), "Stop"),
    (gs1(CONNECTOR_CARTON, "K4O17I"), "Look again"),
    (card("COUNT-4"), "Accepted"),
    (f"]d201{SYRINGE}", "Look again"),
    (card(Act.TYPE), "Look again"),
)
"""What is scanned, and the verdict; one picture after each."""


def film_strip(browser: Browser, to: Path) -> None:
    """Prime a circuit and keep what its screen showed, frame by frame, in one picture."""
    with tempfile.TemporaryDirectory() as folder:
        unit = make_unit(Path(folder))
        stocks(unit)
        with (
            served_by_waitress(create_app(services=unit.services)) as base,
            person(browser, base, Path(folder)) as one,
        ):
            frames = [_frame(one, scan, word) for scan, word in _scenes(one)]
        unit.services.close()
    _joined(frames).quantize(96).save(to)


def _scenes(one: Person) -> tuple[tuple[str, str], ...]:
    one.signs_in("J. Ruiz", then="/prime")
    one.scans(place_symbol(site_code(SITE), "C3"))
    one.scans(card(Act.NEXT))
    one.page.wait_for_url(re.compile(r"/prime/C-\d+$"))
    return STORY


def _frame(one: Person, scan: str, word: str) -> Image.Image:
    if scan:
        one.scans(scan)
    one.sees(word)
    one.page.wait_for_timeout(400)
    name = one.seen / "frame.png"
    one.page.screenshot(path=name)
    with Image.open(name) as shot:
        return shot.convert("RGB").resize(FRAME, Image.Resampling.LANCZOS)


def _joined(frames: list[Image.Image]) -> Image.Image:
    wide, tall = FRAME
    rows = -(-len(frames) // ACROSS)
    size = (ACROSS * wide + (ACROSS + 1) * GAP, rows * tall + (rows + 1) * GAP)
    whole = Image.new("RGB", size, PAPER)
    for at, frame in enumerate(frames):
        row, column = divmod(at, ACROSS)
        whole.paste(frame, (GAP + column * (wide + GAP), GAP + row * (tall + GAP)))
    return whole
