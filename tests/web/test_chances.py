"""The curves of standing by: heights are the formulas', and no word hangs over the frame."""

import math
import re
from datetime import timedelta
from itertools import pairwise
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from traceability.domain.standby import Team, chance_none_ready, load
from traceability.web.pictures.chances import (
    BOTTOM,
    CIRCUITS,
    LEAST,
    PANEL,
    TOP,
    WIDTH,
    chances,
    ready_bars,
)
from traceability.web.pictures.letters import wide

rates = st.floats(0.01, 100)
times = st.floats(0.1, 1000)


@given(rates, times, st.integers(0, 9))
def test_every_word_stays_in_its_panel(demand: float, hours: float, target: int) -> None:
    drawn = ET.fromstring(chances(demand, hours, target))  # noqa: S314 - ours
    panels = list(drawn.iter("g"))
    assert len(panels) == len(Team)
    for panel in panels:
        heights = []
        for text in panel.iter("text"):
            x, said = float(text.get("x", 0)), text.text or ""
            bold = text.get("class") in {"strong", "head"}
            long = wide(said, 18 if bold else 17, bold=bold)
            share = {"end": 1.0, "middle": 0.5}.get(text.get("text-anchor", ""), 0.0)
            assert x - long * share >= -1, said
            assert x + long * (1 - share) <= PANEL + 1, said
            if "circuit" in said and text.get("class") != "head":
                heights.append(float(text.get("y", 0)))
        assert len(heights) == len(CIRCUITS)
        assert all(b - a > 18 for a, b in pairwise(heights))
        assert max(heights) <= BOTTOM + 6


@given(rates, times)
def test_the_dots_stand_where_the_formula_says(demand: float, hours: float) -> None:
    drawn = ET.fromstring(chances(demand, hours, 2))  # noqa: S314 - ours
    for team, panel in zip(Team, drawn.iter("g"), strict=True):
        dots = [float(each.get("cy", 0)) for each in panel.iter("circle")]
        for n, y in zip(CIRCUITS, dots, strict=True):
            chance = max(chance_none_ready(n, load(demand, hours), team), LEAST)
            share = 1 - (y - TOP) / (BOTTOM - TOP)
            assert share == pytest.approx(1 + math.log10(chance) / 5, abs=0.001)


def test_the_picture_tells_a_reader_its_numbers() -> None:
    """1 a week and 24 h: 0.885 % with two, by Erlang's loss formula; worked by hand below."""
    a = 1 * 24 / 168
    assert (a * a / 2) / (1 + a + a * a / 2) == pytest.approx(0.00885, abs=0.00001)
    said = ET.fromstring(chances(1, 24, 2)).findtext("desc") or ""  # noqa: S314 - ours
    assert "2 ready, 0.885 %" in said


def test_the_bars_are_as_long_as_their_share() -> None:
    times = {0: timedelta(hours=1), 2: timedelta(hours=3)}
    drawn = ready_bars(times, 2, {0: "1 h", 1: "0 min", 2: "3 h"})
    ends = [
        float(each)
        for each in re.findall(r'class="(?:full|part|none)" d="M430 [\d.]+H([\d.]+)', drawn)
    ]
    assert ends == [430 + 760 * 0.75, 430, 430 + 760 * 0.25]
    assert float(re.findall(r'viewBox="0 0 (\d+)', drawn)[0]) == WIDTH
