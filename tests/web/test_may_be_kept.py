"""What may lie on a device: whatever the server takes for a person's is never stored there."""

import json
from collections.abc import Callable
from datetime import date
from importlib.resources import files
from typing import Any

import pytest
from flask import Flask
from hypothesis import strategies as st
from playwright.sync_api import Browser

from tests.browser.unit import BAG_HIBC, TAP, badge, card, gs1, hibc
from traceability.actions.prime.scanned import Scan, may_be_kept
from traceability.domain.act_cards import Act
from traceability.domain.tags import circuit_symbol, without_aim

GSRN = "952123450000001234"
"""A service relation number of the demonstration prefix 952 (GS1 General Specifications)."""
PERSONS = [
    f"]d28018{GSRN}",
    f"]C18018{GSRN}",
    f"8018{GSRN}",
    f"(8018){GSRN}",
    f"]d201{TAP}8018{GSRN}",
    f"]d201{TAP}10LOT1\x1d8018{GSRN}",
    f"]d201{TAP}17330331\x1d10LOT18018{GSRN}",
    f"01{TAP}10LOT1(8018){GSRN}",
    f"]d28018{GSRN[:9]}",
    "]d2725019500101",
    f"]d28018{GSRN}7257Berg\x1d7255Eva",
    f"]d201{TAP}725019500101",
    "+/EN123456/X",
    "]C0+/EN123456/X",
    f"https://unit.example/8018/{GSRN}",
    f"HTTPS://unit.example/01/{TAP}/x?8018={GSRN}",
    "=;1234567890123456789",
    "='12345678901",
    "=#123456",
    "&#1234567890123456789",
    "480731-0017",
    "0123456789",
    "19500101-1234",
    "BERG EVA",
]
"""Marks of the standards, and what a unit's own wristband may look like: nothing tells it apart."""
PRODUCTS = [
    gs1(TAP, "T1"),
    f"(01){TAP}(10)T1",
    f"01{TAP}10T1",
    hibc(BAG_HIBC, "B1"),
    "]C110LOT1\x1d17330331",
    card(Act.TICK),
    card("COUNT-3"),
    circuit_symbol("NSH1", "C-0001"),
]
BADGES = [badge("E. Lind"), badge("N. Aalto").lower(), f"8017{GSRN}"]
NEED_NETWORK = [card(Act.SIGN), card(Act.NEXT), card(Act.DISCARD), card(Act.TAKE_OVER)]


@pytest.fixture
def keeps(chromium: Browser, served: Callable[[Any], str]) -> Callable[[list[str]], list[str]]:
    """Return what the page's script says of texts."""
    app = Flask(__name__, static_folder=str(files("traceability") / "web/static"))
    app.add_url_rule("/", view_func=lambda: "<!doctype html><title>t</title>")
    address = served(app)
    page = chromium.new_page()
    page.goto(address)

    def ask(texts: list[str]) -> list[str]:
        found: list[str] = page.evaluate(
            """async (texts) => {
              const { keepOf } = await import("/static/may_be_kept.js");
              return texts.map((text) => keepOf(text, "physical-keys"));
            }""",
            texts,
        )
        return found

    return ask


def test_persons_codes_are_never_stored_and_products_are(
    keeps: Callable[[list[str]], list[str]],
) -> None:
    said = dict(zip(PERSONS, keeps(PERSONS), strict=True))
    assert [text for text, how in said.items() if how == "device"] == []
    assert [said[text] for text in PERSONS[:4]] == ["now"] * 4
    assert keeps(PRODUCTS) == ["device"] * len(PRODUCTS)
    assert keeps(BADGES) == ["page"] * len(BADGES)
    assert keeps(NEED_NETWORK) == ["now"] * len(NEED_NETWORK)


def test_no_text_that_the_server_takes_for_a_persons_is_stored(
    keeps: Callable[[list[str]], list[str]],
) -> None:
    """The script has marks of its own, so they are held against the one reading of codes."""
    pieces = st.sampled_from(
        ["]d2", "]C1", "]C0", "01" + TAP, "(01)" + TAP, "10LOT", "17330331", "\x1d", "8018" + GSRN,
         "(8018)" + GSRN, "7250195001", "725", "+A123", "+/E", "/", "$$3", "=<", "=;", "&#", "21S1",
         "https://a.example/", "?8018=", GSRN, "0", "CT1.", "802"]
    )  # fmt: skip
    texts = set(PERSONS)
    for seed in range(4000):
        texts.add("".join(_some(pieces, seed)))
    ordered = sorted(texts)
    today = date(2026, 11, 28)
    stored = [text for text, how in zip(ordered, keeps(ordered), strict=True) if how == "device"]
    assert len(stored) > 100, "or nothing is tried"
    # What is ours (a card, a tag) is refused a place for another reason: it is no product's code.
    wrong = [
        text
        for text in stored
        if not without_aim(text).startswith("CT") and not may_be_kept(Scan(text=text), today)
    ]
    assert json.dumps(wrong) == "[]"


def _some(pieces: Any, seed: int) -> list[str]:
    import random  # noqa: PLC0415

    chance = random.Random(seed)  # noqa: S311 - cases of a test
    return [chance.choice(pieces.elements) for _ in range(chance.randint(1, 5))]
