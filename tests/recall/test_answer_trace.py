"""A recall answer drawn as a trace: shelves become how sure a link is; patients only if wanted."""

from datetime import UTC, datetime, timedelta
from uuid import UUID
from xml.etree import ElementTree as ET
from zoneinfo import ZoneInfo

from traceability.domain.exposure import Shelf
from traceability.domain.notice_scope import Scope
from traceability.domain.spans import Span
from traceability.domain.trace import Sort, StayKind, Sure, Trace
from traceability.recall.answer_trace import trace_of
from traceability.recall.answered import (
    Answer,
    CircuitRow,
    Coverage,
    MetRow,
    PartRow,
    PatientRow,
)
from traceability.recall.cut import Cut
from traceability.trace_messages import HEADS, apart_words, more_words
from traceability.web.pictures.trace_graph import Words, trace_graph
from traceability.web.pictures.trace_time import trace_counts, trace_time

SITE = UUID(int=5)
DAY = timedelta(days=1)
BEGIN = datetime(2026, 8, 1, tzinfo=UTC)
SHELVES = (Shelf.CONFIRMED, Shelf.INFERRED, Shelf.CANNOT_BE_EXCLUDED)


def circuit(number: int, shelf: Shelf, *, spared: bool = False) -> CircuitRow:
    at = BEGIN + number * DAY
    span = Span(start=at + DAY, end=at + 3 * DAY)
    part = PartRow(
        part_id=UUID(int=number + 900),
        slot="tap-1",
        ordinal=1,
        kind="tap",
        product_id=None,
        lot="T77-0B1",
        serial=None,
        known="scanned",
        state="recorded",
        start=at,
        end=None,
        shelf=shelf,
        reasons=(),
    )
    met = MetRow(
        run_id=UUID(int=number + 100),
        run=f"R-{number:04d}",
        taken_at=at,
        flow_from=at + DAY,
        end=at + 3 * DAY,
        disputed=False,
        transferred=False,
        shelf=Shelf.EXCLUDED if spared else shelf,
        reasons=(),
        sure=() if spared or shelf is Shelf.CANNOT_BE_EXCLUDED else (span,),
        possible=() if spared else (span,),
    )
    return CircuitRow(
        site_id=SITE,
        circuit_id=UUID(int=number),
        number=f"C-{number:04d}",
        shelf=shelf,
        reasons=(),
        parts=(part,),
        met=(met,),
        going_on=False,
        begun_at=at,
    )


def patient(row: CircuitRow) -> PatientRow:
    [met] = row.met
    return PatientRow(
        site_id=SITE,
        patient_id=UUID(int=met.run_id.int + 100),
        run_ids=(met.run_id,),
        runs=(met.run,),
        circuit_ids=(row.circuit_id,),
        shelf=met.shelf,
        reasons=(),
        parts=(),
        sure=met.sure,
        possible=met.possible,
        continues_beyond_our_record=False,
        going_on=False,
    )


def answer(*rows: CircuitRow) -> Answer:
    return Answer(
        scope=Scope(clauses=()),
        products=(),
        kinds=frozenset(),
        cut=Cut(number=77, recorded_at=BEGIN, device_id=None, sites=(SITE,), latest=True),
        asked_at=BEGIN + 60 * DAY,
        circuits=rows,
        patients=tuple(patient(row) for row in rows if row.met[0].shelf is not Shelf.EXCLUDED),
        stock=(),
        stock_left={},
        excluded=3,
        runs_excluded=0,
        coverage=Coverage(
            circuits=len(rows) + 3,
            complete=3,
            with_gap=0,
            unknown=0,
            runs=9,
            parts=9,
            parts_with_lot=9,
            first_at=BEGIN,
        ),
        contradicted=(),
        not_narrowed=(),
    )


def pictures(found: Trace) -> tuple[ET.Element, ET.Element]:
    words = Words(title="The answer", heads=HEADS, more=more_words, note=apart_words)
    zone = ZoneInfo("Europe/Stockholm")
    lanes = trace_time(found, BEGIN + 60 * DAY, zone, "The answer over time", lambda _: "")
    return ET.fromstring(trace_graph(found, words, lambda _: "")), ET.fromstring(lanes)  # noqa: S314


def test_each_shelf_has_its_own_line_and_the_excluded_run_has_none() -> None:
    rows = [circuit(number, shelf) for number, shelf in enumerate(SHELVES, start=1)]
    found = trace_of(
        answer(*rows, circuit(4, Shelf.CONFIRMED, spared=True)), "Lot T77-0B1", patients=True
    )
    sure = {link.target: link.sure for link in found.links if link.source == found.subject.key}
    assert [sure[f"circuit:{UUID(int=n)}"] for n in (1, 2, 3)] == [
        Sure.SURE,
        Sure.INFERRED,
        Sure.POSSIBLE,
    ]
    runs = {link.target: link.sure for link in found.links if link.target.startswith("run:")}
    assert runs[f"run:{UUID(int=104)}"] is Sure.APART
    assert (found.cut_no, found.recorded_at) == (77, BEGIN)
    on = [stay for stay in found.stays if stay.kind is StayKind.ON_PATIENT]
    assert [stay.sure for stay in on] == [Sure.SURE, Sure.INFERRED, Sure.POSSIBLE]
    graph, lanes = pictures(found)
    words = ["".join(text.itertext()) for text in graph.iter("text")]
    assert {"Lot T77-0B1", "C-0001", "R-0003", "Patient of R-0002"} <= set(words)
    assert "R-0004" not in words
    assert "1 run at no common time: listed below, not drawn" in words
    assert [rect.get("class") for rect in lanes.iter("rect")].count("line") == 2


def test_without_the_wish_no_patient_is_in_it() -> None:
    found = trace_of(answer(circuit(1, Shelf.CONFIRMED)), "Lot", patients=False)
    assert found.listed(Sort.PATIENT).nodes == ()
    assert "atient" not in " ".join(node.label for node in found.nodes.values())


def test_a_large_answer_is_grouped_and_counted_whole() -> None:
    rows = [circuit(number, SHELVES[number % 3]) for number in range(1, 501)]
    found = trace_of(answer(*rows), "Lot", patients=True)
    assert found.listed(Sort.CIRCUIT).total == 500
    assert len(found.listed(Sort.CIRCUIT).nodes) == 40
    assert sum(begun for begun, _ in found.over_time.values()) == 500
    graph, _ = pictures(found)
    assert "and 488 more circuits" in ["".join(text.itertext()) for text in graph.iter("text")]
    assert trace_counts(found, "Circuits over time").count('class="begun"') == len(found.over_time)
