"""A recall answer as a sheet of paper and as a table."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Final
from uuid import UUID
from zoneinfo import ZoneInfo

from traceability.domain.answers import AnswerRow, AnswerSection, AnswerSheet
from traceability.domain.exposure import Shelf
from traceability.domain.spans import Span
from traceability.exchange.tables import csv_text
from traceability.recall.answer import Answer
from traceability.recall.on_runs import PieceRow
from traceability.recall_messages import (
    CAUTION,
    EXPLAIN,
    coverage_lines,
    head_words,
    moment,
    piece_times,
    piece_where,
    piece_why,
    question_words,
    run_words,
    subject_words,
    where_words,
    why_words,
)


def answer_sheet(
    answer: Answer, *, unit: str, zone: ZoneInfo, patients: Mapping[UUID, str]
) -> AnswerSheet:
    """Return the answer ready for paper; `patients` by run, empty for who may not see them."""
    cover = coverage_lines(answer, zone)
    return AnswerSheet(
        unit=unit,
        subject=subject_words(answer.question),
        question=question_words(answer.question),
        head=head_words(answer),
        as_known=f"{moment(answer.known_at, zone)}, entry {answer.cut.number}",
        last_entry=cover[1],
        coverage=cover[:1],
        sections=(
            _section("Confirmed", "confirmed", "whole", answer, Shelf.CONFIRMED, zone, patients),
            AnswerSection(
                name="Inferred", explain=EXPLAIN["inferred"], bead="half", count=0, rows=()
            ),
            _section(
                "Cannot be excluded",
                "cannot",
                "open",
                answer,
                Shelf.CANNOT_BE_EXCLUDED,
                zone,
                patients,
            ),
            AnswerSection(
                name="Excluded",
                explain=EXPLAIN["excluded"],
                bead="none",
                count=answer.excluded,
                rows=(),
            ),
        ),
        caution=CAUTION,
        digest=answer.digest,
    )


def _section(
    name: str,
    explain: str,
    bead: str,
    answer: Answer,
    shelf: Shelf,
    zone: ZoneInfo,
    patients: Mapping[UUID, str],
) -> AnswerSection:
    rows = [row for row in answer.rows if row.shelf is shelf]
    pieces = answer.pieces_on(shelf)
    lines = [
        AnswerRow(
            circuit=row.piece.circuit or "–",
            run=row.piece.run,
            why=piece_why(row),
            on_patient=piece_times(row, zone),
            where_now=piece_where(row),
            patient=patients.get(row.piece.run_id, "") if row.piece.run_id else "",
        )
        for row in pieces
    ]
    for row in rows:
        runs = (*row.runs, *row.spared) or (None,)
        for number, run in enumerate(runs):
            lines.append(
                AnswerRow(
                    circuit=row.circuit.number,
                    run=run.run.run if run else "",
                    why=why_words(row) if number == 0 else "",
                    on_patient=run_words(run, zone) if run else "never on a patient",
                    where_now=where_words(row, zone) if number == 0 else "",
                    patient=patients.get(run.run.run_id, "") if run else "",
                )
            )
    return AnswerSection(
        name=name,
        explain=EXPLAIN[explain],
        bead=bead,
        count=len(rows) + len(pieces),
        rows=tuple(lines),
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


def answer_csv(answer: Answer, *, zone: ZoneInfo, patients: Mapping[UUID, str]) -> str:
    """Return the answer as CSV (RFC 4180): one line a circuit and run, the head on every line.

    Exact: texts are as read (one that a spreadsheet would run has an apostrophe in front), times
    are UTC in ISO 8601. An answer without rows has one line that
    carries question, cut-off and coverage.
    """
    lines: list[dict[str, object]] = []
    cover, cut = answer.coverage, answer.cut
    head: dict[str, object] = {
        "question": question_words(answer.question),
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
    for piece_row in answer.pieces:
        lines.append(head | _piece_line(piece_row, patients))
    for row in answer.rows:
        line = head | {
            "shelf": str(row.shelf),
            "circuit": row.circuit.number,
            "circuit_type": row.circuit.circuit_type,
            "reasons": " ".join(row.reasons),
            "why": why_words(row),
            "where_now": where_words(row, zone),
        }
        for run in (*row.runs, *row.spared):
            lines.append(
                line
                | {
                    "run": run.run.run,
                    "run_shelf": str(run.shelf),
                    "run_reasons": " ".join(run.reasons),
                    "taken_at": _iso(run.run.taken_at),
                    "flow_on_at": _iso(run.run.flow_from),
                    "off_at": _iso(run.run.end),
                    "exposed_sure": _iso_spans(run.exposure.sure),
                    "exposed_possible": _iso_spans(run.exposure.possible),
                    "patient": patients.get(run.run.run_id, ""),
                }
            )
        if not row.runs and not row.spared:
            lines.append(line)
    if not answer.rows and not answer.pieces:
        lines.append(head)
    return csv_text(COLUMNS, lines)


def _piece_line(row: PieceRow, patients: Mapping[UUID, str]) -> dict[str, object]:
    """Return the line of what is in no circuit; the column of circuits says so."""
    piece = row.piece
    return {
        "shelf": str(row.shelf),
        "circuit": piece.circuit or "not in a circuit",
        "reasons": " ".join(row.reasons),
        "why": piece_why(row),
        "where_now": piece_where(row),
        "run": piece.run,
        "run_shelf": str(row.shelf),
        "run_reasons": " ".join(row.reasons),
        "exposed_sure": _iso_spans(row.exposure.sure),
        "exposed_possible": _iso_spans(row.exposure.possible),
        "patient": patients.get(piece.run_id, "") if piece.run_id else "",
    }


def _iso(at: datetime | None) -> str:
    return at.isoformat(timespec="seconds").replace("+00:00", "Z") if at else ""


def _iso_spans(spans: Sequence[Span]) -> str:
    return " ".join(f"{_iso(each.start)}/{_iso(each.end) or '..'}" for each in spans)
