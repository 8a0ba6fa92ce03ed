"""From rows to shelves: confirmed, cannot be excluded with its reasons, and the rest excluded.

A circuit is judged as a whole, a run by the time in which the part was in the circuit *and* the
circuit on the patient. Nothing is inferred by counting stock here: what would be inferred by a
count stays under *cannot be excluded*, which is never the unsafe side. Source: common practice, no
source; settled in review with people of the trade.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from traceability.domain.exposure import Exposure, Shelf, exposed, together
from traceability.domain.parts import PartState
from traceability.domain.spans import Span, span
from traceability.recall.exposure import CircuitSeen, OnRun, PartSeen

REASONS: Final = (
    "claim_disputed",
    "contents_unknown",
    "flow_on_not_recorded",
    "inner_lot_not_known",
    "lot_not_recorded",
    "lot_text_alike",
)
"""Reason codes used here, as answers print them: sorted, each once."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """One circuit with the parts that speak for it."""

    circuit: CircuitSeen
    sure: Sequence[PartSeen]
    """Parts whose recorded lot is asked for."""
    open: Sequence[PartSeen]
    """Parts that may be."""
    alike: Sequence[PartSeen]
    """Parts whose recorded lot text is only like one asked for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RunRow:
    """One run on a shelf of the answer."""

    run: OnRun
    shelf: Shelf
    reasons: tuple[str, ...]
    exposure: Exposure


@dataclass(frozen=True, slots=True, kw_only=True)
class CircuitRow:
    """One circuit on a shelf of the answer."""

    circuit: CircuitSeen
    shelf: Shelf
    reasons: tuple[str, ...]
    parts: tuple[PartSeen, ...]
    """The parts that put it there; empty for unknown contents."""
    runs: tuple[RunRow, ...]
    never_on_patient: bool


def circuit_row(evidence: Evidence) -> CircuitRow:
    """Return where the circuit stands and why, with its runs."""
    circuit = evidence.circuit
    sure, open_parts = list(evidence.sure), [*evidence.open, *evidence.alike]
    undisputed = [part for part in sure if not part.disputed]
    shelf = Shelf.CONFIRMED if undisputed else Shelf.CANNOT_BE_EXCLUDED
    reasons: set[str] = set()
    if not undisputed:
        reasons = _reasons(evidence)
    runs = tuple(row for run in circuit.on_runs if (row := _run_row(run, evidence)) is not None)
    shown = (*sure, *open_parts) if undisputed else (*open_parts, *sure)
    return CircuitRow(
        circuit=circuit,
        shelf=shelf,
        reasons=tuple(sorted(reasons)),
        parts=shown,
        runs=runs,
        never_on_patient=not circuit.on_runs,
    )


def _reasons(evidence: Evidence) -> set[str]:
    found = {
        "inner_lot_not_known" if part.state is PartState.INSIDE_PACK else "lot_not_recorded"
        for part in evidence.open
    }
    if evidence.alike:
        found.add("lot_text_alike")
    if any(part.disputed for part in evidence.sure):
        found.add("claim_disputed")
    if not evidence.circuit.recorded:
        found.add("contents_unknown")
    return found


def _run_row(run: OnRun, evidence: Evidence) -> RunRow | None:
    """Return where the run stands; None if no part asked for can have met the patient."""
    circuit = evidence.circuit
    possible_run = _one(run.taken_at, run.end)
    certain_run = _one(run.flow_from, run.end) if run.flow_from and not run.disputed else ()
    sure_parts = [part for part in evidence.sure if not part.disputed]
    sure = exposed(_times(sure_parts, circuit), certain_run)
    # From *taken* on nothing is certain but much is possible while flow on is not recorded.
    reach = possible_run if run.flow_from is None or run.disputed else certain_run
    maybe_parts = [*sure_parts, *evidence.open, *evidence.alike]
    maybe_parts += [part for part in evidence.sure if part.disputed]
    possible = exposed(_times(maybe_parts, circuit), reach)
    if not circuit.recorded:
        possible = together([Exposure(possible=possible), Exposure(possible=reach)]).possible
    both = together([Exposure(sure=sure, possible=possible)])
    if not both.possible:
        return None
    if both.sure:
        return RunRow(run=run, shelf=Shelf.CONFIRMED, reasons=(), exposure=both)
    reasons = set() if sure_parts else _reasons(evidence)
    if run.flow_from is None:
        reasons.add("flow_on_not_recorded")
    if run.disputed:
        reasons.add("claim_disputed")
    return RunRow(
        run=run,
        shelf=Shelf.CANNOT_BE_EXCLUDED,
        reasons=tuple(sorted(reasons)),
        exposure=both,
    )


def _times(parts: Iterable[PartSeen], circuit: CircuitSeen) -> tuple[Span, ...]:
    """Return when the parts were in the circuit: fluids stay, priming parts leave at its end."""
    found: list[Span] = []
    for part in parts:
        end = None if part.stays else part.end
        if part.leaves and circuit.primed_at is not None:
            end = circuit.primed_at if end is None else min(end, circuit.primed_at)
        found += _one(part.start, end)
    return tuple(found)


def _one(start: datetime | None, end: datetime | None) -> tuple[Span, ...]:
    if start is None:
        return ()
    made = span(start, end)
    return () if made is None else (made,)
