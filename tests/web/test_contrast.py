"""Text and parts of every page can be told from their ground, by day and by night.

WCAG 2.2: relative luminance and contrast ratio as defined there; 4.5:1 for text (SC 1.4.3), 3:1 for
what has to be seen of a part (SC 1.4.11).
"""

import re
from importlib.resources import files

import pytest

TOKENS = (files("traceability") / "web/static/tokens.css").read_text("utf-8")

TEXT = [
    *((ink, ground) for ink in ("ink", "ink-2", "pine", "plum") for ground in ("paper", "sheet")),
    *((ink, "sunk") for ink in ("ink", "ink-2", "pine", "plum")),
    ("on-pine-field", "pine-field"),
    ("pine", "pine-field"),
    ("ink", "pine-field"),
    ("ink-2", "pine-field"),
    ("on-pine", "pine"),
    ("on-plum-field", "plum-field"),
    ("on-act-field", "act-field"),
]
PARTS = [("edge", ground) for ground in ("paper", "sheet", "sunk", "pine-field")]
RING = ("paper", "sheet", "sunk", "pine-field", "plum-field", "act-field")


def _palette(start: str) -> dict[str, str]:
    at = TOKENS.index(start)
    block = TOKENS[at : TOKENS.index("}", at)]
    return dict(re.findall(r"--([\w-]+):\s*(#[0-9a-fA-F]{6})\b", block))


DAY = _palette(":root {")
NIGHT = DAY | _palette(':root[data-light="night"] {')
SYSTEM_NIGHT = DAY | _palette(':root:not([data-light="day"]):not([data-light="night"]) {')
LIGHTS = pytest.mark.parametrize("palette", [DAY, NIGHT], ids=["day", "night"])


def _luminance(colour: str) -> float:
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def ratio(one: str, other: str) -> float:
    dark, pale = sorted((_luminance(one), _luminance(other)))
    return (pale + 0.05) / (dark + 0.05)


def test_the_formula_gives_the_ratios_that_follow_from_the_standard() -> None:
    # 21:1 for black on white, 1:1 for like on like: WCAG 2.2, definition of contrast ratio, note 1.
    assert ratio("#000000", "#ffffff") == pytest.approx(21)
    assert ratio("#777777", "#777777") == pytest.approx(1)
    # #767676 is the darkest grey that passes on white and #777777 fails: common practice.
    assert ratio("#767676", "#ffffff") >= 4.5 > ratio("#777777", "#ffffff")


@LIGHTS
@pytest.mark.parametrize(("ink", "ground"), TEXT)
def test_text_is_readable(palette: dict[str, str], ink: str, ground: str) -> None:
    assert ratio(palette[ink], palette[ground]) >= 4.5


@LIGHTS
@pytest.mark.parametrize(("part", "ground"), PARTS)
def test_borders_and_lines_that_carry_meaning_are_seen(
    palette: dict[str, str], part: str, ground: str
) -> None:
    assert ratio(palette[part], palette[ground]) >= 3


@LIGHTS
@pytest.mark.parametrize("ground", RING)
def test_one_of_the_two_tones_of_the_focus_ring_is_seen_on_every_field(
    palette: dict[str, str], ground: str
) -> None:
    assert max(ratio(palette[tone], palette[ground]) for tone in ("focus", "focus-gap")) >= 3


def test_night_by_the_system_and_night_by_choice_are_one_palette() -> None:
    assert SYSTEM_NIGHT == NIGHT
