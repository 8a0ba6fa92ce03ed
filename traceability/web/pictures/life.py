"""A circuit's or a run's life as lanes: where it was, its prime fluid, on the patient, its parts.

Parts of one lot that went in together and never changed share a lane; a place where something was
changed has its own, and stands first, since that is what somebody looks for.
"""

from collections.abc import Sequence
from datetime import datetime
from itertools import groupby
from typing import Final
from zoneinfo import ZoneInfo

from traceability.domain.circuits import Origin
from traceability.domain.parts import PartState
from traceability.reads.circuit_parts import PartFacts
from traceability.reads.circuits import CircuitFacts
from traceability.reads.runs import RunCircuit, RunFacts
from traceability.reads.stays import OnRunFacts
from traceability.web.pictures.letters import Label
from traceability.web.pictures.timeline import Bar, Dot, Lane, draw

MOST_LANES: Final = 12
"""Lanes of parts; more would push everything else off the screen."""

OVER: Final = {"ended", "discarded", "transferred out", "kept for inspection"}
GAPS: Final = {
    PartState.INSIDE_PACK: "inside the pack, inner lot not known",
    PartState.LOT_NOT_READABLE: "lot not readable",
    PartState.LOT_NOT_RECORDED: "lot not recorded",
    PartState.NOT_FITTED: "not fitted",
}
ACTS: Final = {
    "primed": "prime ended",
    "taken": "taken",
    "on patient": "flow on",
    "ended": "flow off",
    "discarded": "discarded",
    "transferred out": "transferred out",
    "kept for inspection": "kept for inspection",
}


def life(circuit: CircuitFacts, now: datetime, zone: ZoneInfo) -> str:
    """Return the circuit's timeline as SVG."""
    parts = _part_lanes(circuit)
    hidden = len(parts) - MOST_LANES
    lanes = [
        Lane("Where it was", _places(circuit, now)),
        Lane("What is in it", _unknown(circuit)),
        Lane("Prime fluid", _fluid(circuit)),
        Lane("On patient", tuple(_on_run(run) for run in circuit.runs)),
        *parts[:MOST_LANES],
        Lane("Acts", dots=_acts(circuit)),
    ]
    note = f"{hidden} more are listed below and not drawn" if hidden > 0 else ""
    title = f"Circuit {circuit.number} over time"
    drawn = [lane for lane in lanes if lane.bars or lane.dots]
    return draw(title, drawn, now, zone, over=_end(circuit) is not None, note=note)


def run_life(run: RunFacts, now: datetime, zone: ZoneInfo, *, beside: Sequence[Lane] = ()) -> str:
    """Return a run's timeline as SVG: a lane for each of its circuits, and what is beside them."""
    lanes = [Lane(f"Circuit {each.number}", _taken_and_on(each)) for each in run.circuits]
    dots = [Dot(each.flow_from, "flow on") for each in run.circuits if each.flow_from]
    dots += [Dot(each.until, f"{each.number} off") for each in run.circuits if each.until]
    dots.sort(key=lambda dot: dot.at)
    lanes += [*beside, Lane("Acts", dots=tuple(dots))]
    over = run.ended_at is not None
    return draw(f"Run {run.number} over time", lanes, now, zone, over=over, key="run")


def _taken_and_on(circuit: RunCircuit) -> tuple[Bar, ...]:
    taken, flow_from, until = circuit.taken_at, circuit.flow_from, circuit.until
    if flow_from is None:
        return (Bar(taken, until, "open", ("taken, flow on not recorded",)),)
    waiting = (Bar(taken, flow_from, "thin"),) if flow_from > taken else ()
    style, label = ("open", ("disputed",)) if circuit.disputed else ("thick", ())
    return (*waiting, Bar(flow_from, until, style, label))


def _places(circuit: CircuitFacts, now: datetime) -> tuple[Bar, ...]:
    """Return the stays, and between them what was not recorded: a gap is never blank."""
    end = _end(circuit) or now
    bars: list[Bar] = []
    at = circuit.begun_at
    for stay in circuit.places:
        if stay.from_ > at:
            bars.append(Bar(at, stay.from_, "open", ("not recorded",)))
        bars.append(Bar(stay.from_, stay.until, "thin", (stay.name,)))
        at = max(at, stay.until or end)
    if at < end:
        bars.append(Bar(at, _end(circuit), "open", ("not recorded",)))
    return tuple(bars)


def _end(circuit: CircuitFacts) -> datetime | None:
    """Return when the circuit ended; None while it has not."""
    return min((phase.from_ for phase in circuit.phases if phase.name in OVER), default=None)


def _unknown(circuit: CircuitFacts) -> tuple[Bar, ...]:
    """Return a gap as long as the circuit, where nobody recorded what is in it."""
    if circuit.contents == "recorded" or circuit.parts:
        return ()
    return (Bar(circuit.begun_at, _end(circuit), "open", ("not recorded",)),)


def _fluid(circuit: CircuitFacts) -> tuple[Bar, ...]:
    """Return the prime fluid: it stays in to the circuit's end, whatever becomes of its bag."""
    fluids = [
        part
        for part in circuit.parts
        if part.kind == "fluid" and part.state is not PartState.NOT_FITTED
    ]
    if not fluids:
        return ()
    first = min(part.from_ for part in fluids)
    label: Label = (fluids[0].name or fluids[0].place,)
    for known in sorted({part.lot or "" for part in fluids}):
        label = (*_added(label, ", lot "), known) if known else _added(label, ", lot not recorded")
    bars = [Bar(first, _end(circuit), "thin", label)]
    bars += [Bar(run.flow_from, run.until, "fluid") for run in circuit.runs if run.flow_from]
    return (*bars[1:], bars[0])


def _added(label: Label, words: str) -> Label:
    """Return the label with words behind it."""
    return (*label[:-1], label[-1] + words) if len(label) % 2 else (*label, words)


def _on_run(run: OnRunFacts) -> Bar:
    if run.flow_from is None:
        return Bar(run.taken_at, run.until, "open", (f"{run.run}, flow on not recorded",))
    doubt = ", disputed" if run.disputed else ""
    return Bar(
        run.flow_from, run.until, "open" if run.disputed else "thick", (f"{run.run}{doubt}",)
    )


def _part_lanes(circuit: CircuitFacts) -> list[Lane]:
    parts = [
        part
        for part in circuit.parts
        if part.kind != "fluid" and part.state is not PartState.TICKED
    ]
    by_place: dict[tuple[str, int], list[PartFacts]] = {}
    for part in parts:
        by_place.setdefault((part.slot, part.ordinal), []).append(part)
    changed = [each for each in by_place.values() if _was_changed(each, circuit)]
    as_primed = [each[0] for each in by_place.values() if not _was_changed(each, circuit)]
    used = [part for part in as_primed if part.leaves]
    alike: dict[tuple[object, ...], list[PartFacts]] = {}
    for part in as_primed:
        if not part.leaves:
            alike.setdefault(_likeness(part), []).append(part)
    return [
        *(
            Lane(_place(each[0]), tuple(_part_bar(part, circuit) for part in each))
            for each in changed
        ),
        *(_shared(each, circuit) for each in alike.values()),
        *([_used(used, circuit)] if used else []),
    ]


def _used(parts: list[PartFacts], circuit: CircuitFacts) -> Lane:
    """Return the lane of what was used while priming only."""
    label: Label = ()
    for part in parts:
        label = _added(label, f"{'; ' if label else ''}{part.place} ")
        label = (*_added(label, "lot "), part.lot) if part.lot else _added(label, "lot not known")
    start = min(part.from_ for part in parts)
    return Lane("Used while priming", (Bar(start, circuit.ended_at, "thin", label),))


def _was_changed(parts: list[PartFacts], circuit: CircuitFacts) -> bool:
    """Tell whether a place lost a part while the circuit was whole or being made."""
    return len(parts) > 1 or _went_early(parts[0], circuit)


def _went_early(part: PartFacts, circuit: CircuitFacts) -> bool:
    return part.until is not None and not part.leaves and part.until != _end(circuit)


def _likeness(part: PartFacts) -> tuple[object, ...]:
    if part.state is PartState.INSIDE_PACK:
        return (part.state,)
    return part.state, part.kind, part.product_id, part.lot, part.serial


def _place(part: PartFacts) -> str:
    return f"{part.place}, {part.ordinal}" if part.count > 1 else part.place


def _shared(parts: list[PartFacts], circuit: CircuitFacts) -> Lane:
    """Return the lane of parts that went in together and are alike."""
    first = min(parts, key=lambda part: part.from_)
    bar = _part_bar(first, circuit)
    places = [place for place, _ in groupby(part.place for part in parts)]
    if len(places) == 1:
        return Lane(f"{places[0]}, {len(parts)}" if len(parts) > 1 else places[0], (bar,))
    if first.state is PartState.INSIDE_PACK:
        named = f"{', '.join(places)}: inner lot not known"
        bar = Bar(bar.start, bar.end, bar.style, (named,))
        return Lane(f"Inside the pack, {len(parts)}", (bar,))
    return Lane(f"{first.name or first.kind}, {len(parts)} places", (bar,))


def _part_bar(part: PartFacts, circuit: CircuitFacts) -> Bar:
    label: Label = ("lot ", part.lot) if part.lot else (GAPS.get(part.state, ""),)
    if part.serial:
        label = (*_added(label, ", serial " if "".join(label) else "serial "), part.serial)
    if part.disputed:
        label = _added(label, ", disputed")
    left = circuit.ended_at if part.leaves else None
    style = "thin" if part.state is PartState.RECORDED and not part.disputed else "open"
    return Bar(part.from_, part.until or left or _end(circuit), style, label)


def _acts(circuit: CircuitFacts) -> tuple[Dot, ...]:
    dots = [Dot(each.at, "signed") for each in circuit.signatures]
    was_primed = False
    for phase in circuit.phases:
        if phase.name in ACTS:
            back = phase.name == "primed" and was_primed
            came = "came in" if circuit.origin == Origin.FOREIGN else ACTS[phase.name]
            word = "came back" if back else came if phase.name == "primed" else ACTS[phase.name]
            dots.append(Dot(phase.from_, word))
        was_primed = was_primed or phase.name == "primed"
    changes = {part.until for part in circuit.parts if part.until and _swapped(part, circuit)}
    dots += [Dot(at, "part changed") for at in changes]
    return tuple(sorted(dots, key=lambda dot: dot.at))


def _swapped(part: PartFacts, circuit: CircuitFacts) -> bool:
    """Tell whether the part went out after the prime: one dropped before is no swap."""
    over = circuit.ended_at
    return over is not None and _went_early(part, circuit) and (part.until or over) > over
