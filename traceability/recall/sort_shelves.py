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
from traceability.domain.spans import Span, span
from traceability.recall.circuits_seen import CircuitSeen, OnRun
from traceability.recall.exposure import PartSeen

REASONS: Final = (
    "claim_disputed",
    "contents_unknown",
    "flow_on_not_recorded",
    "inner_lot_not_known",
    "lot_not_recorded",
    "lot_text_alike",
    "maker_not_recorded",
    "prime_not_ended",
    "serial_not_recorded",
    "serial_text_alike",
    "time_not_known",
)
"""Codes of why something cannot be excluded, as answers print them: sorted, each once."""

SPARED: Final = (
    "came_back_unused",
    "dropped_before_use",
    "part_in_after_flow_off",
    "part_out_before_flow_on",
    "used_in_priming",
)
"""Codes of why a run is excluded although its circuit is not."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """A part, and what leaves it open whether it is asked for; nothing if it certainly is."""

    part: PartSeen
    reasons: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """One circuit with all that speaks for it."""

    circuit: CircuitSeen
    parts: Sequence[Judged]
    whole: frozenset[str] = frozenset()
    """What leaves the circuit open in all its time: contents unknown, prime not ended."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RunRow:
    """One run on a shelf of the answer."""

    run: OnRun
    shelf: Shelf
    reasons: tuple[str, ...]
    """Of `REASONS`, or for an excluded run of `SPARED`."""
    exposure: Exposure


@dataclass(frozen=True, slots=True, kw_only=True)
class CircuitRow:
    """One circuit on a shelf of the answer."""

    circuit: CircuitSeen
    shelf: Shelf
    reasons: tuple[str, ...]
    parts: tuple[PartSeen, ...]
    """The parts that put it there, certain ones first; empty for unknown contents."""
    runs: tuple[RunRow, ...]
    """Runs that met it, or may have."""
    spared: tuple[RunRow, ...]
    """Runs that the circuit was on and that cannot have met it, each with its reason."""
    never_on_patient: bool

    @property
    def going_on(self) -> bool:
        """Whether a patient is exposed now, or may be."""
        return any(one.end is None for run in self.runs for one in run.exposure.possible)


def circuit_row(evidence: Evidence) -> CircuitRow:
    """Return where the circuit stands and why, with its runs."""
    circuit = evidence.circuit
    parts = sorted(evidence.parts, key=_place)
    sure = [one for one in parts if not one.reasons]
    open_parts = [one for one in parts if one.reasons]
    reasons = evidence.whole.union(*(one.reasons for one in open_parts))
    runs = [_run_row(run, evidence) for run in circuit.on_runs]
    return CircuitRow(
        circuit=circuit,
        shelf=Shelf.CONFIRMED if sure else Shelf.CANNOT_BE_EXCLUDED,
        reasons=() if sure else tuple(sorted(reasons)),
        parts=tuple(one.part for one in (*sure, *open_parts)),
        runs=tuple(run for run in runs if run.shelf is not Shelf.EXCLUDED),
        spared=tuple(run for run in runs if run.shelf is Shelf.EXCLUDED),
        never_on_patient=not circuit.on_runs,
    )


def _place(judged: Judged) -> tuple[str, int, datetime, int, int]:
    part = judged.part
    return (part.slot, part.ordinal, part.start, part.recorded_no, part.line)


def _run_row(run: OnRun, evidence: Evidence) -> RunRow:
    circuit = evidence.circuit
    if run.came_back:
        return _spared(run, {"came_back_unused"})
    # From *taken* on nothing is certain and everything possible, until flow on is recorded.
    sure_flow = stretch(run.flow_from, run.end) if run.flow_from and not run.disputed else ()
    may_flow = sure_flow or stretch(run.taken_at, run.end)
    exposures = [_part_exposure(one, circuit, sure_flow, may_flow) for one in evidence.parts]
    met = together(exposures)
    if evidence.whole:
        met = together([met, Exposure(possible=may_flow)])
    if met.sure:
        return RunRow(run=run, shelf=Shelf.CONFIRMED, reasons=(), exposure=met)
    if not met.possible:
        return _spared(run, {_why_spared(one.part, circuit, may_flow) for one in evidence.parts})
    reasons = set(evidence.whole)
    for one, exposure in zip(evidence.parts, exposures, strict=True):
        if exposure.possible:
            reasons |= one.reasons
            if not one.reasons and not exposed(_sure_times(one.part, circuit), may_flow):
                reasons.add("time_not_known")
    if run.flow_from is None:
        reasons.add("flow_on_not_recorded")
    if run.disputed:
        reasons.add("claim_disputed")
    return RunRow(
        run=run,
        shelf=Shelf.CANNOT_BE_EXCLUDED,
        reasons=tuple(sorted(reasons)),
        exposure=met,
    )


def _part_exposure(
    one: Judged, circuit: CircuitSeen, sure_flow: Iterable[Span], may_flow: Iterable[Span]
) -> Exposure:
    possible = exposed(_possible_times(one.part, circuit), may_flow)
    if one.reasons:
        return Exposure(possible=possible)
    return Exposure(sure=exposed(_sure_times(one.part, circuit), sure_flow), possible=possible)


def _possible_times(part: PartSeen, circuit: CircuitSeen) -> tuple[Span, ...]:
    """Return when the part, or what it carried, can have been in the circuit.

    A fluid stays whatever happens to its bag, also if the bag was spoilt after some had run in. A
    part used for priming leaves with the prime's end, if that is recorded.
    """
    end = None if part.stays else part.end
    if part.leaves and circuit.primed_at is not None:
        end = circuit.primed_at if end is None else min(end, circuit.primed_at)
    return stretch(part.start, end)


def _sure_times(part: PartSeen, circuit: CircuitSeen) -> tuple[Span, ...]:
    """Return when the part was certainly in the circuit."""
    end = part.end
    if part.leaves:
        if circuit.primed_at is None:
            return ()
        end = circuit.primed_at if end is None else min(end, circuit.primed_at)
    return stretch(part.start, end)


def was_dropped(part: PartSeen, circuit: CircuitSeen) -> bool:
    """Tell a part discarded before use from one swapped out later, by the order of entries.

    A row that was corrected since was written later than it speaks of: its time tells.
    """
    if part.end is None or circuit.primed_no is None or circuit.primed_at is None:
        return False
    return part.recorded_no < circuit.primed_no or part.end < circuit.primed_at


def _why_spared(part: PartSeen, circuit: CircuitSeen, may_flow: Sequence[Span]) -> str:
    if was_dropped(part, circuit):
        return "dropped_before_use"
    if part.leaves:
        return "used_in_priming"
    begins = may_flow[0].start if may_flow else part.start
    return "part_out_before_flow_on" if part.start < begins else "part_in_after_flow_off"


def _spared(run: OnRun, reasons: set[str]) -> RunRow:
    return RunRow(
        run=run, shelf=Shelf.EXCLUDED, reasons=tuple(sorted(reasons)), exposure=Exposure()
    )


def stretch(start: datetime, end: datetime | None) -> tuple[Span, ...]:
    """Return the stretch of time; nothing where it began and ended in the same moment."""
    made = span(start, end)
    return () if made is None else (made,)
