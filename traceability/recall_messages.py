"""A recall answer in words: for the page, for paper and for a table.

No answer begins "none" while any circuit cannot be excluded, and none comes without its coverage.
"""

import csv
import io
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Final
from uuid import UUID
from zoneinfo import ZoneInfo

from traceability.domain.answers import AnswerRow, AnswerSection, AnswerSheet
from traceability.domain.parts import PartState
from traceability.domain.spans import Span
from traceability.recall.answer import Answer
from traceability.recall.exposure import PartSeen
from traceability.recall.question import Question
from traceability.recall.sort_shelves import CircuitRow, RunRow

CAUTION: Final = "This record supports the decision. It does not make it."

REASONS: Final[Mapping[str, str]] = {
    "claim_disputed": "two records claim it, nobody has ruled",
    "contents_unknown": "contents not recorded",
    "flow_on_not_recorded": "flow on was not recorded",
    "inner_lot_not_known": "inside the pack, inner lot not known",
    "lot_not_recorded": "lot not recorded",
    "lot_text_alike": "lot text alike",
}

EXPLAIN: Final = {
    "confirmed": "The record says so.",
    "inferred": "None: this answer does not count stock. What a count would show stands below.",
    "cannot": "The record has a gap here.",
    "excluded": "Every part of this kind is recorded with another lot, or the circuit has none.",
}


def question_words(question: Question) -> str:
    """Return the question as a sentence."""
    product = question.products[0]
    named = f"{product.name} of {product.maker}"
    if product.item_number:
        named += f", item {product.item_number}"
    others = len(question.products) - 1
    if others:
        named += f" and {others} more products"
    lots = ", ".join(lot.text for lot in question.lots)
    what = f"lot {lots}" if len(question.lots) == 1 else f"lots {lots}" if lots else "any lot"
    return f"Which circuits held {named}, {what}, and who was connected to them?"


def subject_words(question: Question) -> str:
    """Return the short name of the question for headers."""
    lots = ", ".join(lot.text for lot in question.lots[:3])
    more = f" and {len(question.lots) - 3} more" if len(question.lots) > 3 else ""  # noqa: PLR2004
    return f"Lot {lots}{more}" if lots else question.products[0].name


def head_words(answer: Answer) -> str:
    """Return the one sentence that answers."""
    sure, may_be = len(answer.confirmed), len(answer.cannot_be_excluded)
    what = "this lot" if len(answer.question.lots) == 1 else "it"
    if not sure and not may_be:
        return f"No circuit held {what}. {answer.coverage.circuits} circuits looked at, no gaps."
    open_words = f"{may_be} cannot be excluded."
    if not sure:
        return f"None confirmed. {open_words}"
    return f"{_count(sure, 'circuit')} held {what}. {open_words}"


def coverage_lines(answer: Answer, zone: ZoneInfo) -> list[str]:
    """Return coverage and cut-off, on negative answers too."""
    cover, cut = answer.coverage, answer.cut
    last = f"last entry {moment(cut.recorded_at, zone)}" if cut.recorded_at else "nothing recorded"
    return [
        f"Looked at {_count(cover.circuits, 'circuit')}: {cover.complete} with complete lots for "
        f"this kind of part, {cover.with_gap} with a gap, "
        f"{cover.unknown} with contents not recorded.",
        f"As known on {moment(answer.asked_at, zone)}; {last}, entry number {cut.number}.",
    ]


def why_words(row: CircuitRow) -> str:
    """Return why a circuit stands where it stands, from the parts that put it there."""
    if row.reasons:
        said = "; ".join(REASONS.get(code, code) for code in row.reasons)
        named = _part_words(row.parts)
        return f"{said[0].upper()}{said[1:]}{': ' if named else ''}{named}."
    return f"{_part_words(row.parts)}."


def _part_words(parts: Sequence[PartSeen]) -> str:
    groups: dict[tuple[str, str, str], int] = {}
    for part in parts:
        lot = f"lot {part.lot}" if part.lot else _STATES.get(part.state, "lot not recorded")
        out = "swapped or taken out again" if part.end is not None else ""
        stays = "its fluid stays in" if part.stays and part.end is not None else ""
        used = "used in priming" if part.leaves else ""
        key = (part.kind.replace("-", " "), lot, ", ".join(w for w in (out, stays, used) if w))
        groups[key] = groups.get(key, 0) + 1
    return "; ".join(
        f"{count} × {kind}, {lot}{f', {more}' if more else ''}"
        for (kind, lot, more), count in groups.items()
    )


_STATES: Final = {
    PartState.INSIDE_PACK: "inside the pack, inner lot not known",
    PartState.LOT_NOT_READABLE: "lot not readable",
    PartState.LOT_NOT_RECORDED: "lot not recorded",
}


def where_words(row: CircuitRow, zone: ZoneInfo) -> str:
    """Return where the circuit is now."""
    circuit = row.circuit
    since = f" since {moment(circuit.phase_since, zone)}" if circuit.phase_since else ""
    state = circuit.phase.capitalize() or "Not known"
    if circuit.phase == "primed":
        state, since = "On the shelf", ""
    return f"{state}{since}{', ' if circuit.place else ''}{circuit.place}"


def run_words(run: RunRow, zone: ZoneInfo) -> str:
    """Return when a run met the part: sure times, and longer possible ones apart."""
    sure, possible = run.exposure.sure, run.exposure.possible
    said = []
    if sure:
        said.append(spans_words(sure, zone))
    if run.exposure.longer_possible or not sure:
        said.append(f"possible {spans_words(possible, zone)}")
    if run.reasons:
        said.append("; ".join(REASONS.get(code, code) for code in run.reasons))
    if run.run.transferred:
        said.append("goes on beyond our record: transferred out")
    return ". ".join(said)


def spans_words(spans: Sequence[Span], zone: ZoneInfo) -> str:
    """Return times as words, zone shown."""
    return " and ".join(
        f"{moment(each.start, zone)} to {moment(each.end, zone) if each.end else 'now'}"
        for each in spans
    )


def moment(at: datetime | None, zone: ZoneInfo) -> str:
    """Return `2026-11-25 03:40 CET`."""
    return f"{at.astimezone(zone):%Y-%m-%d %H:%M %Z}" if at else ""


def _count(number: int, word: str) -> str:
    return f"{number} {word}{'' if number == 1 else 's'}"


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
        as_known=moment(answer.asked_at, zone),
        last_entry=cover[1],
        coverage=cover[:1],
        sections=(
            _section("Confirmed", "confirmed", "whole", answer.confirmed, zone, patients),
            AnswerSection(
                name="Inferred", explain=EXPLAIN["inferred"], bead="half", count=0, rows=()
            ),
            _section(
                "Cannot be excluded", "cannot", "open", answer.cannot_be_excluded, zone, patients
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
    rows: Sequence[CircuitRow],
    zone: ZoneInfo,
    patients: Mapping[UUID, str],
) -> AnswerSection:
    lines = []
    for row in rows:
        runs = row.runs or (None,)
        for number, run in enumerate(runs):
            never = "never on a patient" if row.never_on_patient else "not while it was in"
            lines.append(
                AnswerRow(
                    circuit=row.circuit.number,
                    run=run.run.run if run else "no run",
                    why=why_words(row) if number == 0 else "",
                    on_patient=run_words(run, zone) if run else never,
                    where_now=where_words(row, zone) if number == 0 else "",
                    patient=patients.get(run.run.run_id, "") if run else "",
                )
            )
    return AnswerSection(
        name=name, explain=EXPLAIN[explain], bead=bead, count=len(rows), rows=tuple(lines)
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

    Exact: texts are as read, times are UTC in ISO 8601. An answer without rows has one line that
    carries question, cut-off and coverage.
    """
    out = io.StringIO()
    table = csv.DictWriter(out, COLUMNS, lineterminator="\r\n")
    table.writeheader()
    cover, cut = answer.coverage, answer.cut
    head: dict[str, object] = {
        "question": question_words(answer.question),
        "as_known_on": _iso(answer.asked_at),
        "entry_number": cut.number,
        "last_entry": _iso(cut.recorded_at),
        "digest": answer.digest,
        "circuits_looked_at": cover.circuits,
        "complete": cover.complete,
        "with_gap": cover.with_gap,
        "contents_not_recorded": cover.unknown,
        "excluded": answer.excluded,
    }
    for row in answer.rows:
        line = head | {
            "shelf": str(row.shelf),
            "circuit": row.circuit.number,
            "circuit_type": row.circuit.circuit_type,
            "reasons": " ".join(row.reasons),
            "why": why_words(row),
            "where_now": where_words(row, zone),
        }
        for run in row.runs:
            table.writerow(
                line
                | {
                    "run": run.run.run,
                    "run_shelf": str(run.shelf),
                    "taken_at": _iso(run.run.taken_at),
                    "flow_on_at": _iso(run.run.flow_from),
                    "off_at": _iso(run.run.end),
                    "exposed_sure": _iso_spans(run.exposure.sure),
                    "exposed_possible": _iso_spans(run.exposure.possible),
                    "patient": patients.get(run.run.run_id, ""),
                }
            )
        if not row.runs:
            table.writerow(line)
    if not answer.rows:
        table.writerow(head)
    return out.getvalue()


def _iso(at: datetime | None) -> str:
    return at.isoformat(timespec="seconds").replace("+00:00", "Z") if at else ""


def _iso_spans(spans: Sequence[Span]) -> str:
    return " ".join(f"{_iso(each.start)}/{_iso(each.end) or '..'}" for each in spans)
