"""A recall answer as a sheet of paper and as a table."""

import csv
import io
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from typing import Final
from uuid import UUID
from zoneinfo import ZoneInfo

from traceability.domain.answers import AnswerRow, AnswerSection, AnswerSheet
from traceability.domain.exposure import Shelf
from traceability.domain.spans import Span
from traceability.exchange.safe_csv import plain_cell
from traceability.recall.answered import Answer, CircuitRow, PatientRow
from traceability.recall.circuits_seen import CircuitSeen
from traceability.recall_messages import (
    CAUTION,
    EXPLAIN,
    NAMES,
    coverage_lines,
    head_words,
    left_words,
    met_words,
    moment,
    patient_times,
    stock_words,
    where_words,
    why_words,
)
from traceability.scope_messages import question_words, subject_words

BEADS: Final = {
    Shelf.CONFIRMED: "whole",
    Shelf.INFERRED: "half",
    Shelf.CANNOT_BE_EXCLUDED: "open",
    Shelf.EXCLUDED: "none",
}

MOST_ON_PAPER: Final = 400
"""Circuits of one shelf on paper; the rest stands in the table, and the sheet says so."""

Seen = Mapping[UUID, CircuitSeen]


def answer_sheet(
    answer: Answer,
    *,
    unit: str,
    zone: ZoneInfo,
    seen: Seen,
    patients: Mapping[UUID, str],
    places: Mapping[UUID, str],
) -> AnswerSheet:
    """Return the answer ready for paper.

    Args:
        answer: the answer.
        unit: whose it is, for the head.
        zone: of the times.
        seen: where the circuits stand, of `MOST_ON_PAPER` a shelf at least.
        patients: texts by run, empty for who may not see them.
        places: names of the places of stock.
    """
    cover = coverage_lines(answer, zone)
    stock = [f"{stock_words(row)}: {_place_words(row.place_id, places)}" for row in answer.stock]
    return AnswerSheet(
        unit=unit,
        subject=subject_words(answer.scope, answer.products),
        question=question_words(answer.scope, answer.products, zone),
        head=head_words(answer),
        as_known=f"{moment(answer.known_at, zone)}, entry {answer.cut.number}",
        last_entry=cover[1],
        coverage=[cover[0], *cover[2:], *stock, *left_words(answer)],
        sections=tuple(_section(answer, shelf, zone, seen, patients) for shelf in Shelf),
        caution=CAUTION,
        digest=answer.digest,
    )


def _place_words(place_id: UUID | None, places: Mapping[UUID, str]) -> str:
    return places.get(place_id, "place not said") if place_id else "place not said"


def _section(
    answer: Answer, shelf: Shelf, zone: ZoneInfo, seen: Seen, patients: Mapping[UUID, str]
) -> AnswerSection:
    rows = answer.circuits_on(shelf)
    own = [row for row in answer.patients_on(shelf) if row.parts]
    lines = [_patient_line(row, zone, patients) for row in own]
    for row in rows[:MOST_ON_PAPER]:
        lines += _circuit_lines(row, seen[row.circuit_id], zone, patients)
    if len(rows) > MOST_ON_PAPER:
        more = f"{len(rows) - MOST_ON_PAPER} more circuits of this shelf: see the table (CSV)."
        lines.append(AnswerRow(circuit="…", run="", why=more, on_patient="", where_now=""))
    count = answer.excluded if shelf is Shelf.EXCLUDED else len(rows) + len(own)
    return AnswerSection(
        name=NAMES[shelf], explain=EXPLAIN[shelf], bead=BEADS[shelf], count=count, rows=tuple(lines)
    )


def _patient_line(row: PatientRow, zone: ZoneInfo, patients: Mapping[UUID, str]) -> AnswerRow:
    """Return the line of what is in no circuit."""
    return AnswerRow(
        circuit="–",
        run=", ".join(row.runs),
        why=why_words(row),
        on_patient=patient_times(row, zone),
        where_now="in the patient, or with the run",
        patient=next((patients[run] for run in row.run_ids if patients.get(run)), ""),
    )


def _circuit_lines(
    row: CircuitRow, seen: CircuitSeen, zone: ZoneInfo, patients: Mapping[UUID, str]
) -> Iterator[AnswerRow]:
    for number, met in enumerate(row.met or (None,)):
        yield AnswerRow(
            circuit=row.number,
            run=met.run if met else "",
            why=why_words(row) if number == 0 else "",
            on_patient=met_words(met, zone) if met else "never on a patient",
            where_now=where_words(seen, zone) if number == 0 else "",
            patient=patients.get(met.run_id, "") if met else "",
        )


COLUMNS: Final = (
    "question",
    "as_known_on",
    "entry_number",
    "last_entry",
    "digest",
    "shelf",
    "circuit",
    "circuit_type",
    "reasons",
    "why",
    "where_now",
    "run",
    "run_shelf",
    "run_reasons",
    "taken_at",
    "flow_on_at",
    "off_at",
    "exposed_sure",
    "exposed_possible",
    "patient",
    "circuits_looked_at",
    "complete",
    "with_gap",
    "contents_not_recorded",
    "excluded",
)


def answer_csv(
    answer: Answer,
    circuits: Iterable[tuple[CircuitRow, CircuitSeen]],
    *,
    zone: ZoneInfo,
    patients: Mapping[UUID, str],
) -> Iterator[str]:
    """Yield the answer as CSV (RFC 4180): one line a circuit and run, the head on every line.

    Exact: texts are as read (one that a spreadsheet would run has an apostrophe in front), times
    are UTC in ISO 8601. An answer without rows has one line: question, cut-off and coverage.
    """
    out = io.StringIO()
    table = csv.DictWriter(out, COLUMNS, lineterminator="\r\n")
    table.writeheader()
    yield _taken(out)
    head = _head(answer, zone)
    lines = 0
    for line in _lines(answer, circuits, zone, patients):
        table.writerow({name: plain_cell(cell) for name, cell in (head | line).items()})
        lines += 1
        yield _taken(out)
    if not lines:
        table.writerow({name: plain_cell(cell) for name, cell in head.items()})
        yield _taken(out)


def _taken(out: io.StringIO) -> str:
    text = out.getvalue()
    out.seek(0)
    out.truncate()
    return text


def _head(answer: Answer, zone: ZoneInfo) -> dict[str, object]:
    cover, cut = answer.coverage, answer.cut
    return {
        "question": question_words(answer.scope, answer.products, zone),
        "as_known_on": _iso(answer.known_at),
        "entry_number": cut.number,
        "last_entry": _iso(cut.recorded_at),
        "digest": answer.digest,
        "circuits_looked_at": cover.circuits,
        "complete": cover.complete,
        "with_gap": cover.with_gap,
        "contents_not_recorded": cover.unknown,
        "excluded": answer.excluded,
    }


def _lines(
    answer: Answer,
    circuits: Iterable[tuple[CircuitRow, CircuitSeen]],
    zone: ZoneInfo,
    patients: Mapping[UUID, str],
) -> Iterator[dict[str, object]]:
    for row in answer.patients:
        if row.parts:
            yield _line_of_patient(row, patients)
    for circuit, seen in circuits:
        line: dict[str, object] = {
            "shelf": str(circuit.shelf),
            "circuit": circuit.number,
            "circuit_type": seen.circuit_type,
            "reasons": " ".join(circuit.reasons),
            "why": why_words(circuit),
            "where_now": where_words(seen, zone),
        }
        for met in circuit.met:
            yield line | {
                "run": met.run,
                "run_shelf": str(met.shelf),
                "run_reasons": " ".join(met.reasons),
                "taken_at": _iso(met.taken_at),
                "flow_on_at": _iso(met.flow_from),
                "off_at": _iso(met.end),
                "exposed_sure": _iso_spans(met.sure),
                "exposed_possible": _iso_spans(met.possible),
                "patient": patients.get(met.run_id, ""),
            }
        if not circuit.met:
            yield line


def _line_of_patient(row: PatientRow, patients: Mapping[UUID, str]) -> dict[str, object]:
    """Return the line of what is in no circuit; the column of circuits says so."""
    return {
        "shelf": str(row.shelf),
        "circuit": "not in a circuit",
        "reasons": " ".join(row.reasons),
        "why": why_words(row),
        "run": " ".join(row.runs),
        "run_shelf": str(row.shelf),
        "run_reasons": " ".join(row.reasons),
        "exposed_sure": _iso_spans(row.sure),
        "exposed_possible": _iso_spans(row.possible),
        "patient": next((patients[run] for run in row.run_ids if patients.get(run)), ""),
    }


def _iso(at: datetime | None) -> str:
    return at.isoformat(timespec="seconds").replace("+00:00", "Z") if at else ""


def _iso_spans(spans: Sequence[Span]) -> str:
    return " ".join(f"{_iso(each.start)}/{_iso(each.end) or '..'}" for each in spans)
