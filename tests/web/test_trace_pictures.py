"""Pictures of any trace: no word over another, none outside, and large ones are grouped."""

import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import combinations
from xml.etree import ElementTree as ET
from zoneinfo import ZoneInfo

from hypothesis import given, settings
from hypothesis import strategies as st

from traceability.domain.trace import Link, Listed, Node, Sort, Stay, StayKind, Sure, Trace
from traceability.trace_messages import HEADS, apart_words, more_words
from traceability.web.pictures.letters import MONO, wide
from traceability.web.pictures.trace_graph import FOLDS, WIDTH, Words, trace_graph
from traceability.web.pictures.trace_strokes import DETAIL, LABEL
from traceability.web.pictures.trace_time import trace_counts, trace_time

ZONE = ZoneInfo("Europe/Stockholm")
BEGIN = datetime(2026, 8, 1, tzinfo=UTC)
WORDS = Words(title="What it touches", heads=HEADS, more=more_words, note=apart_words)
LABELS = ("T77-0B1", "C-0419", "W" * 60, "<&>", "主动脉插管" * 6, "A")


def drawn(trace: Trace) -> ET.Element:
    return ET.fromstring(trace_graph(trace, WORDS, lambda node: f"/ask/{node.sort}?a=1&b=2"))  # noqa: S314 - ours


@st.composite
def traces(draw: st.DrawFn, most: int = 9) -> Trace:
    """Any trace: nodes of all sorts, with any links from the left to the right."""
    number = st.integers(0, most)
    labels, sures = st.sampled_from(LABELS), st.sampled_from(list(Sure))
    subject = draw(st.sampled_from([Sort.LOT, Sort.CIRCUIT, Sort.RUN, Sort.MACHINE, Sort.SPAN]))
    lists: dict[Sort, Listed] = {}
    for sort in (Sort.CIRCUIT, Sort.RUN, Sort.PATIENT, Sort.LOT, Sort.MACHINE, Sort.PLACE):
        nodes = tuple(
            Node(sort=sort, id=f"{index}", label=draw(labels), detail=draw(labels))
            for index in range(draw(number))
        )
        total = len(nodes) + draw(st.sampled_from([0, 0, 4989]))
        lists[sort] = Listed(nodes=nodes, total=total)
    node = Node(sort=subject, id="subject", label=draw(labels), detail=draw(labels))
    left = [node, *(n for s in (Sort.LOT, Sort.MACHINE, Sort.PLACE) for n in lists[s].nodes)]
    circuits, runs, patients = (
        [*lists[sort].nodes, *([node] if subject is sort else [])]
        for sort in (Sort.CIRCUIT, Sort.RUN, Sort.PATIENT)
    )
    pairs = [(left, circuits), (left, runs), (circuits, runs), (runs, patients)]
    links = [
        Link(source=draw(one).key, target=draw(two).key, sure=sure)
        for one, two in ((st.sampled_from(a), st.sampled_from(b)) for a, b in pairs if a and b)
        for sure in draw(st.lists(sures, max_size=14))
    ]
    return Trace(subject=node, lists=lists, links=tuple(links))


def room(text: ET.Element) -> tuple[float, float, float, float]:
    """Return left, right, top and bottom of a text, by the drawing's own measure."""
    css = text.get("class", "")
    size, bold = (LABEL, True) if "label" in css else (DETAIL, "over" in css)
    long = wide(text.text or "", size, bold=bold)
    long += sum(len("".join(part.itertext())) * MONO * size for part in text)
    x, y = float(text.get("x", 0)), float(text.get("y", 0))
    left = x - long / 2 if text.get("text-anchor") == "middle" else x
    return left, left + long, y - size * 0.76, y + size * 0.22


def apart(texts: Sequence[ET.Element], width: float, height: float) -> None:
    boxes = [(room(text), "".join(text.itertext())) for text in texts]
    for (left, right, top, bottom), word in boxes:
        assert left >= -0.1, word
        assert right <= width + 0.1, word
        assert top >= 0, word
        assert bottom <= height, word
    for (one, first), (two, second) in combinations(boxes, 2):
        aside = one[1] <= two[0] + 0.1 or two[1] <= one[0] + 0.1
        above = one[3] <= two[2] + 0.1 or two[3] <= one[2] + 0.1
        assert aside or above, (first, second)


def height_of(svg: ET.Element) -> float:
    return float(svg.get("viewBox", "").split()[3])


@given(traces())
@settings(max_examples=150)
def test_no_word_of_a_graph_runs_into_another_or_is_crossed_by_a_link(trace: Trace) -> None:
    svg = drawn(trace)
    texts = list(svg.iter("text"))
    apart(texts, WIDTH, height_of(svg))
    boxes = [room(text) for text in texts]
    # A link that passes a whole column does so on a level line: it lies under no word.
    for path in (each.get("d", "") for each in svg.iter("path") if "C" in each.get("d", "")):
        for found in re.finditer(r"([\d.]+) ([\d.]+)H([\d.]+)", path):
            start, level, end = (float(each) for each in found.groups())
            for left, right, top, bottom in boxes:
                assert right <= start or end <= left or level <= top or bottom <= level


@given(traces())
@settings(max_examples=60)
def test_every_link_is_told_and_the_drawing_is_the_same_every_time(trace: Trace) -> None:
    first = trace_graph(trace, WORDS, lambda _: "")
    assert first == trace_graph(trace, WORDS, lambda _: "")
    svg = ET.fromstring(first)  # noqa: S314 - ours
    told = (svg.findtext("desc") or "").split("; ")
    links = [each for each in svg.iter() if (each.get("class") or "").startswith("link")]
    assert len(told) >= len(links)
    assert {link.get("class") for link in links} <= {"link", "link sure", "link maybe"}
    assert svg.find("title") is not None


def small(circuits: int, total: int = 0) -> Trace:
    subject = Node(sort=Sort.LOT, id="l", label="T77-0B1", detail="Three-way tap")
    nodes = tuple(
        Node(sort=Sort.CIRCUIT, id=f"{n}", label=f"C-{n:04d}", start=BEGIN) for n in range(circuits)
    )
    runs = tuple(Node(sort=Sort.RUN, id=f"{n}", label=f"R-{n:04d}") for n in range(circuits))
    links = [Link(source=subject.key, target=node.key) for node in nodes]
    links += [
        Link(source=one.key, target=two.key, sure=Sure.POSSIBLE if n % 2 else Sure.SURE)
        for n, (one, two) in enumerate(zip(nodes, runs, strict=True))
    ]
    lists = {
        Sort.CIRCUIT: Listed(nodes=nodes, total=total or circuits),
        Sort.RUN: Listed(nodes=runs, total=total or circuits),
    }
    stays = tuple(
        Stay(
            lane=node.key,
            kind=StayKind.ON_PATIENT,
            start=BEGIN + timedelta(days=n),
            end=BEGIN + timedelta(days=n + 2),
            sure=Sure.POSSIBLE if n % 2 else Sure.SURE,
            label=f"R-{n:04d}",
        )
        for n, node in enumerate(nodes)
    )
    return Trace(subject=subject, lists=lists, links=tuple(links), stays=stays)


def test_a_small_answer_is_whole_and_a_large_one_ends_in_counts_that_open() -> None:
    whole = drawn(small(FOLDS))
    words = ["".join(text.itertext()) for text in whole.iter("text")]
    assert all(f"C-{n:04d}" in words for n in range(FOLDS))
    assert not [word for word in words if word.startswith("and ")]
    large = drawn(small(40, total=4_999))
    words = ["".join(text.itertext()) for text in large.iter("text")]
    assert "and 4,987 more circuits" in words
    assert len([word for word in words if word.startswith("C-")]) == 12
    assert {"#circuit", "#run"} <= {
        link.get("href") for link in large.iter("a") if (link.get("href") or "").startswith("#")
    } | {"#run"}
    assert height_of(large) < 1_400


def test_what_met_at_no_common_time_is_counted_and_not_drawn() -> None:
    trace = small(3)
    links = [
        replace(link, sure=Sure.APART) if link.target == "run:1" else link for link in trace.links
    ]
    svg = drawn(replace(trace, links=tuple(links)))
    words = ["".join(text.itertext()) for text in svg.iter("text")]
    assert "R-0001" not in words
    assert "1 run at no common time: listed below, not drawn" in words


def test_lanes_lead_to_their_circuits_and_show_what_is_only_possible() -> None:
    now = BEGIN + timedelta(days=9)
    svg = ET.fromstring(  # noqa: S314 - ours
        trace_time(small(4), now, ZONE, "Over time", lambda node: f"/c/{node.label}")
    )
    assert [link.get("href") for link in svg.iter("a")] == [f"/c/C-{n:04d}" for n in range(4)]
    assert svg.get("role") == "group", "in an image nothing could be reached"
    styles = [rect.get("class") for rect in svg.iter("rect")]
    assert styles.count("dashed") == styles.count("thick") == 2


@given(
    st.dictionaries(
        st.integers(0, 700).map(lambda n: f"{1990 + n // 12}-{n % 12 + 1:02d}"),
        st.tuples(st.integers(0, 4000), st.integers(0, 4000)),
        max_size=70,
    )
)
def test_no_count_of_a_large_answer_runs_into_another(counts: dict[str, tuple[int, int]]) -> None:
    drawing = trace_counts(replace(small(1), over_time=counts), "Circuits over time")
    if not counts:
        assert drawing == ""
        return
    svg = ET.fromstring(drawing)  # noqa: S314 - ours
    apart(list(svg.iter("text")), WIDTH, height_of(svg))
    told = svg.findtext("desc") or ""
    for when, (begun, taken) in counts.items():
        assert f"{when}: {begun} begun, {taken} taken" in told
