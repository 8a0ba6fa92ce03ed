"""The circuit plan holds for any sheet: every place once, no label over another, all inside."""

import math
import re
from itertools import combinations
from xml.etree import ElementTree as ET

from hypothesis import given, settings
from hypothesis import strategies as st

from traceability.web.pictures.plan import WIDTH, Plan, PlanSlot, plan
from traceability.web.pictures.plan_labels import Line

names = st.sampled_from(
    [
        "Tap",
        "Connector",
        "Drainage line",
        "Straight connectors, no port",
        "Tap before the oxygenator",
        "Sodium chloride 0.9 %",
        "Prime bag",
        "Cable ties",
        "Reservoir outlet with a very long name indeed",
    ]
)
states = st.sampled_from(["whole", "half", "open", "cup", "gap", "wait", "off"])
MOST = {
    "drainage": 12,
    "pump": 1,
    "link": 6,
    "oxygenator": 1,
    "gas": 1,
    "return": 12,
    "fluid": 2,
    "tray": 6,
}


@st.composite
def sheets(draw: st.DrawFn) -> list[PlanSlot]:
    slots = []
    for where, most in MOST.items():
        for number in range(draw(st.integers(0, most))):
            count = draw(st.integers(1, 3 if where in {"drainage", "return", "tray"} else 2))
            shown = tuple(draw(states) for _ in range(count))
            slots.append(
                PlanSlot(
                    id=f"{where}-{number}",
                    name=draw(names),
                    where=where,
                    count=count,
                    tick_only=False,
                    states=shown,
                    next=draw(st.booleans()),
                    line=draw(st.integers(1, 3 if where in {"drainage", "return"} else 1)),
                )
            )
    return slots


def parsed(drawn: Plan) -> ET.Element:
    return ET.fromstring(re.sub(r"<svg ", '<svg xmlns:x="x" ', drawn.svg()))  # noqa: S314 - ours


def label_boxes(drawn: Plan) -> list[tuple[float, float, float, float, str]]:
    """Return left, top, right, bottom of every label of a place, as the drawing's rule sees it."""
    boxes = []
    for text in parsed(drawn).iter("text"):
        if not re.match(r"lb|sub", text.get("class", "")):
            continue
        tail = "".join(part.text or "" for part in text)
        wide = Line(text.text or "", text.get("class", ""), tail).wide
        x, y = float(text.get("x", 0)), float(text.get("y", 0))
        left = {"middle": x - wide / 2, "start": x, None: x}[text.get("text-anchor")]
        boxes.append((left, y - 15, left + wide, y + 4, text.text or ""))
    return boxes


@given(sheets())
@settings(max_examples=200, deadline=None)
def test_every_place_is_drawn_once_and_told_in_words(slots: list[PlanSlot]) -> None:
    drawn = plan("Adult 3/8", slots)
    ids = [group.get("data-slot", "") for group in parsed(drawn).iter("g")]
    assert sorted(filter(None, ids)) == sorted(slot.id for slot in slots)
    assert len(drawn.words) == len(slots)
    described = parsed(drawn).find("desc")
    assert described is not None
    assert all(slot.name in (described.text or "") for slot in slots)


@given(sheets())
@settings(max_examples=300, deadline=None)
def test_no_label_runs_into_another_and_none_leaves_the_picture(slots: list[PlanSlot]) -> None:
    drawn = plan("Adult 3/8", slots)
    boxes = label_boxes(drawn)
    for left, top, right, bottom, text in boxes:
        assert left >= 0, text
        assert right <= WIDTH, text
        assert top >= 0, text
        assert bottom <= drawn.height, text
    for one, two in combinations(boxes, 2):
        apart = one[2] <= two[0] or two[2] <= one[0] or one[3] <= two[1] or two[3] <= one[1]
        assert apart, (one, two)


@given(sheets())
@settings(max_examples=200, deadline=None)
def test_no_bead_hides_another_and_none_leaves_the_picture(slots: list[PlanSlot]) -> None:
    drawn = plan("Adult 3/8", slots)
    holes = [
        (float(each.get("cx", 0)), float(each.get("cy", 0)), float(each.get("r", 0)))
        for each in parsed(drawn).iter("circle")
        if each.get("class") == "hole"
    ]
    assert len(holes) == sum(len(slot.states) for slot in slots)
    for x, y, r in holes:
        assert r <= x <= WIDTH - r
        assert r <= y <= drawn.height - r
    for one, two in combinations(holes, 2):
        assert math.dist(one[:2], two[:2]) >= (one[2] + two[2]) * 0.9, (one, two)


@given(sheets())
@settings(max_examples=100, deadline=None)
def test_each_line_has_a_patient_end(slots: list[PlanSlot]) -> None:
    lines = {(slot.where, slot.line) for slot in slots if slot.where in {"drainage", "return"}}
    bare = sum(where not in {limb for limb, _ in lines} for where in ("drainage", "return"))
    ends = [each for each in parsed(plan("A", slots)).iter("path") if each.get("class") == "endp"]
    assert len(ends) == len(lines) + bare


@given(st.text(alphabet="<>&\"'aé", min_size=1, max_size=12))
def test_names_are_text_and_never_markup(name: str) -> None:
    slot = PlanSlot(id="a", name=name, where="tray", count=1, tick_only=False, states=("open",))
    assert parsed(plan(name, [slot])).find("desc") is not None
