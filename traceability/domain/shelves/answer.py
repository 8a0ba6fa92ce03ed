"""The answer to a scope: every circuit and patient on its shelf, with reasons, times, coverage.

A circuit or patient is judged as a whole: of two unrecorded parts one may be certain to be in scope
though neither is alone. What is not excluded by the records stays: nothing is dropped.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from traceability.domain.exposure import Exposure, Shelf, together
from traceability.domain.shelves.findings import Finder, Finding
from traceability.domain.shelves.reasons import Reason
from traceability.domain.shelves.scope import Asked, Clause
from traceability.domain.shelves.situation import CircuitKnown, Connection, Situation, Use
from traceability.domain.spans import Span, join, meet, overlap

__all__ = ["Answer", "Coverage", "Row", "answer", "answered_by", "connection_row"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One circuit or patient."""

    shelf: Shelf
    reasons: tuple[Reason, ...] = ()
    """Why it cannot be excluded, sorted; empty on other shelves."""
    sure: tuple[Span, ...] = ()
    """Certain exposure of a confirmed patient."""
    possible: tuple[Span, ...] = ()
    """Exposure of a patient that may have been; contains `sure`."""
    continues_beyond_our_record: bool = False
    findings: tuple[Finding, ...] = ()
    """What each part said, for the evidence; parts that say no in every arrangement left out."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Coverage:
    """How far the records reach."""

    circuits: int
    with_gap: int
    """With a part of a scope item whose lot, maker, needed serial or inner lot is not known."""
    unknown: int
    """With unknown contents; not counted again among those with a gap."""

    @property
    def percent_complete(self) -> float | None:
        """Share of circuits with nothing unknown, to one decimal; None where there is none."""
        complete = self.circuits - self.with_gap - self.unknown
        return round(100 * complete / self.circuits, 1) if self.circuits else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """All rows, in order of name."""

    circuits: Mapping[str, Row]
    patients: Mapping[str, Row]
    coverage: Coverage
    gaps: frozenset[str]
    """The circuits with a gap, by name."""
    stock_left: tuple[int, int] | None
    """Least and most units of the one lot asked for; None where that is not known or not asked."""
    contradicted: tuple[str, ...]
    """Items whose book contradicts itself; a task to mend it."""
    not_narrowed: tuple[str, ...]
    """Items of the scope whose book is not complete: no row was narrowed by counting."""


def answer(scope: Iterable[Clause], situation: Situation) -> Answer:
    """Return where every circuit and patient of the situation stands for a scope."""
    return answered_by(Finder(situation, tuple(scope)))


def answered_by(finder: Finder) -> Answer:
    """Return the same from a finder, which can be asked for more afterwards."""
    situation, clauses = finder.situation, finder.clauses
    circuits: dict[str, Row] = {}
    gaps: set[str] = set()
    real = sorted((c for c in situation.circuits if not c.of_run), key=lambda c: c.name)
    for circuit in real:
        found = finder.of_circuit(circuit.name)
        unknown = _unknown(circuit, clauses)
        circuits[circuit.name] = _row(finder, found, {circuit.why} if unknown else set())
        if not _is_hidden(circuit) and (unknown or any(_gap(finding) for finding in found)):
            gaps.add(circuit.name)
    return Answer(
        circuits=circuits,
        patients=_patients(finder, situation, clauses),
        coverage=Coverage(
            circuits=len(circuits),
            with_gap=len(gaps),
            unknown=sum(_is_hidden(circuit) for circuit in real),
        ),
        gaps=frozenset(gaps),
        stock_left=_left(finder, clauses),
        contradicted=finder.contradicted(),
        not_narrowed=finder.not_narrowed(),
    )


def connection_row(
    finder: Finder, connection: Connection, known: Mapping[str, CircuitKnown]
) -> Row:
    """Return where a patient stands for one circuit's time alone."""
    return _patient(finder, [connection], known, finder.clauses)


def _is_hidden(circuit: CircuitKnown) -> bool:
    return circuit.unknown_since is not None and circuit.why is Reason.CONTENTS_UNKNOWN


def _unknown(circuit: CircuitKnown, clauses: Iterable[Clause]) -> tuple[Span, ...]:
    """Return when unknown contents may have been what is asked for."""
    if circuit.unknown_since is None:
        return ()
    since = Span(start=circuit.unknown_since)
    return join(time for clause in clauses if (time := clause.cut(since)) is not None)


def _row(
    finder: Finder,
    findings: Iterable[Finding],
    hidden: set[Reason],
    maybe: Iterable[Finding] = (),
) -> Row:
    """Return shelf and reasons of a set of parts judged together.

    Args:
        finder: what the arrangements say.
        findings: parts that were certainly met.
        hidden: why something may have been met that is not on record.
        maybe: parts that may not have been met at all, whatever they are; the reasons for that are
            in `hidden`.
    """
    sure = tuple(f for f in findings if not f.never)
    found = (*sure, *(f for f in maybe if not f.never))
    if any(f.captured for f in sure):
        return Row(shelf=Shelf.CONFIRMED, findings=found)
    if finder.certain(sure):
        return Row(shelf=Shelf.INFERRED, findings=found)
    if not found and not hidden:
        return Row(shelf=Shelf.EXCLUDED)
    reasons = hidden.union(*(f.reasons for f in found))
    return Row(shelf=Shelf.CANNOT_BE_EXCLUDED, reasons=tuple(sorted(reasons)), findings=found)


def _gap(finding: Finding) -> bool:
    """Return whether something is not known about a part of a scope item."""
    use: Use = finding.use
    if use.pack is not None:
        return bool(finding.reasons)
    asks_serial = finding.clause.asks({Asked.SERIALS, Asked.SERIAL_LIST})
    serial = asks_serial and use.part.serial is None
    return use.part.maker is None or serial or (use.part.lot is None and not use.equipment)


def _patients(finder: Finder, situation: Situation, clauses: tuple[Clause, ...]) -> dict[str, Row]:
    by_patient: dict[str, list[Connection]] = {}
    for connection in situation.connections:
        by_patient.setdefault(connection.patient, []).append(connection)
    known = {circuit.name: circuit for circuit in situation.circuits}
    return {
        patient: _patient(finder, by_patient[patient], known, clauses)
        for patient in sorted(by_patient)
    }


def _patient(
    finder: Finder,
    connections: Iterable[Connection],
    known: Mapping[str, CircuitKnown],
    clauses: tuple[Clause, ...],
) -> Row:
    """Return a patient's row: only time on the circuit counts, all circuits together."""
    met: dict[tuple[int, int], Finding] = {}
    maybe: dict[tuple[int, int], tuple[Finding, frozenset[Reason]]] = {}
    hidden: set[Reason] = set()
    exposures: list[Exposure] = []
    beyond = False
    for one in connections:
        on = Span(start=one.start, end=one.end) if one.end is None or one.end > one.start else None
        if on is None:
            continue
        flow = one.certain if one.doubts else on
        possible: list[Span] = []
        sure: list[Span] = []
        for finding in finder.of_circuit(one.circuit):
            time = overlap(finding.time, on)
            if time is None or finding.never:
                continue
            key = (finding.use.key, finding.number)
            possible.append(time)
            certain = _certain(finding, flow)
            if certain:
                met[key] = finding
            else:
                maybe[key] = (finding, one.doubts or frozenset({Reason.TIME_NOT_KNOWN}))
            if finding.captured:
                sure += certain
        circuit = known[one.circuit]
        for span in _unknown(circuit, clauses):
            if (time := overlap(span, on)) is not None:
                hidden |= {circuit.why} | one.doubts
                possible.append(time)
        exposures.append(Exposure(sure=tuple(sure), possible=tuple(possible)))
        beyond = beyond or (one.transferred and any(time.end == one.end for time in possible))
    may_be = [(finding, why) for key, (finding, why) in maybe.items() if key not in met]
    hidden = hidden.union(*(why for _, why in may_be))
    row = _row(finder, met.values(), hidden, [finding for finding, _ in may_be])
    if row.shelf is Shelf.EXCLUDED:
        return row
    whole = together(exposures)
    return Row(
        shelf=row.shelf,
        reasons=row.reasons,
        sure=whole.sure if row.shelf is Shelf.CONFIRMED else (),
        possible=whole.possible,
        continues_beyond_our_record=beyond,
        findings=row.findings,
    )


def _certain(finding: Finding, flow: Span | None) -> tuple[Span, ...]:
    """Return when a part was certainly in a circuit that was certainly on."""
    times = finding.use.certain
    if flow is None:
        return ()
    if times is None:
        time = overlap(finding.time, flow)
        return () if time is None else (time,)
    return meet(times, [time] if (time := overlap(finding.time, flow)) is not None else [])


def _left(finder: Finder, clauses: tuple[Clause, ...]) -> tuple[int, int] | None:
    """Return the stock left where one clause asks for one lot of one item."""
    if len(clauses) != 1 or len(clauses[0].tests) != 1:
        return None
    clause, test = clauses[0], clauses[0].tests[0]
    if test.asked is not Asked.LOTS or len(test.texts) != 1 or test.negated:
        return None
    return finder.stock_left(clause.items[0], clause.maker, test.texts[0])
