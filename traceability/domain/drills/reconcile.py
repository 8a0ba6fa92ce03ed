"""Reconcile one lot: where is every unit of it, and what does the record leave open?

The share is reconciled units of all units, and both numbers are always given. A unit is
*reconciled* when it stands in one class that says where it ended or is, and no point about it is
open. Source: common practice, no source.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from enum import StrEnum
from typing import Final, assert_never

from traceability.domain.circuits import SIGNATURES_NEEDED, Phase
from traceability.domain.drills.facts import CircuitLife, LotRecord, PatientKnown, RunLife, Use

__all__ = [
    "DEFINITION",
    "OPEN_AFTER",
    "Code",
    "Point",
    "Reconciled",
    "Whereabouts",
    "reconcile",
    "split",
]

DEFINITION: Final = 1
"""Version of this rule; stored with each drill, so that a trend never mixes two rules unsaid."""

OPEN_AFTER: Final = timedelta(hours=24)
"""So long may a prime last, or a taken circuit be without *flow on*, before it is an open point.
Common practice, no source."""


class Whereabouts(StrEnum):
    """Where a unit is or ended; each unit stands in exactly one."""

    SHELF = "on-the-shelf"
    STANDING = "in-a-circuit-not-used-yet"
    ON_PATIENT = "on-a-patient"
    USED = "used"
    BEFORE_USE = "gone-before-use"
    """Dropped, changed before use, or in a circuit that was discarded or kept unused."""
    TAKEN_OUT = "taken-out-with-reason"
    NOT_ACCOUNTED = "not-accounted-for"


class Code(StrEnum):
    """What is open about a unit."""

    NOT_ACCOUNTED = "not-accounted-for"
    NOT_RECEIVED = "no-receipt-before-use"
    SHELF_NOT_RECEIVED = "more-than-received"
    SHELF_OWED = "book-below-zero"
    PLACE = "place-not-known"
    EXPIRY = "expiry-not-known"
    DISPUTED = "claim-disputed"
    SIGNATURES = "signature-missing"
    PRIME_OPEN = "prime-not-ended"
    FLOW_ON = "flow-on-not-recorded"
    FLOW_OFF = "flow-off-not-recorded"
    PATIENT = "patient-not-recorded"
    PATIENT_TEMPORARY = "patient-temporary"


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """One open point, and what it is about: that says on which page it is mended."""

    code: Code
    units: int
    circuit: str = ""
    run: str = ""
    entry: int | None = None
    place: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reconciled:
    """The outcome for one lot."""

    whole: bool
    """From receipt to end; False: from use to end only."""
    units: int
    reconciled: int
    where: Mapping[Whereabouts, int]
    """Adds up to `units`."""
    points: tuple[Point, ...]
    counted_at: datetime | None
    """The oldest of the last counts of the shelves that hold it; None: one was never counted, or
    nothing of it is on a shelf."""


def split(lot: LotRecord) -> tuple[LotRecord, ...]:
    """Return the lot as what is followed from receipt to end, and what from use to end only.

    Nobody booked a receipt before the stock book of a product began. A use of that time without a
    receipt is no gap that anybody can mend, and it is no unit followed from its receipt either: it
    stands apart, like ward stock. Each use is in exactly one of the two.
    """
    if not lot.counted or lot.booked_from is None:
        return (replace(lot, counted=False),)
    uses = _in_order(lot)
    without = _without_receipt(lot, uses)
    before = tuple(
        use for number, use in enumerate(uses) if number in without and use.at < lot.booked_from
    )
    rest = replace(lot, uses=tuple(use for use in uses if use not in before))
    if not before:
        return (rest,)
    apart = replace(lot, counted=False, uses=before, received=(), shelves=(), taken_out=0)
    holds = rest.uses or rest.received or rest.shelves or rest.taken_out
    return (rest, apart) if holds else (apart,)


def _in_order(lot: LotRecord) -> list[Use]:
    return sorted(lot.uses, key=lambda each: (each.at, each.piece.int))


def reconcile(lot: LotRecord, now: datetime) -> Reconciled:
    """Return where every unit of a part that `split` gave is, and what is open, as of `now`."""
    uses = _in_order(lot)
    without_receipt = _without_receipt(lot, uses) if lot.counted else set()
    where: Counter[Whereabouts] = Counter()
    points: list[Point] = []
    reconciled = 0
    for number, use in enumerate(uses):
        where[_whereabouts(use)] += 1
        found = list(_points_of(use, now))
        if number in without_receipt:
            found.append(_about(use, Code.NOT_RECEIVED))
        points += found
        reconciled += not found
    units = len(uses)
    if lot.counted:
        # What the pack brought, and what came with a circuit primed elsewhere, was never to be on
        # a shelf: the book knows nothing of it.
        from_shelf = sum(use.from_shelf for use in uses)
        beside, open_points = _at_the_shelves(lot, from_shelf, len(without_receipt))
        where.update(beside)
        points += open_points
        units += sum(beside.values())
        reconciled += sum(beside.values()) - sum(point.units for point in open_points)
    holding = [shelf.counted_at for shelf in lot.shelves if shelf.quantity > 0]
    counted = [at for at in holding if at is not None]
    return Reconciled(
        whole=lot.counted,
        units=units,
        reconciled=reconciled,
        where={each: where[each] for each in Whereabouts},
        points=tuple(points),
        counted_at=min(counted) if counted and len(counted) == len(holding) else None,
    )


def _without_receipt(lot: LotRecord, uses: Iterable[Use]) -> set[int]:
    """Return which uses had no receipt before them that an earlier use had not taken up."""
    taken, found = 0, set()
    for number, use in enumerate(uses):
        if not use.from_shelf:
            continue
        received = sum(each.quantity for each in lot.received if each.at <= use.at)
        if received > taken:
            taken += 1
        else:
            found.add(number)
    return found


def _at_the_shelves(
    lot: LotRecord, from_shelf: int, without_receipt: int
) -> tuple[Counter[Whereabouts], list[Point]]:
    """Return the units that are in no circuit, and what is open about them.

    Received units that are neither used nor out nor on the shelf by the book are missing. Where
    there are more than were received, the rest stands without a receipt.
    """
    received = sum(each.quantity for each in lot.received)
    on_shelf = max(sum(shelf.quantity for shelf in lot.shelves), 0)
    told = from_shelf + lot.taken_out + on_shelf
    missing = max(received - told, 0)
    where = Counter(
        {
            Whereabouts.SHELF: on_shelf,
            Whereabouts.TAKEN_OUT: lot.taken_out,
            Whereabouts.NOT_ACCOUNTED: missing,
        }
    )
    points = [Point(code=Code.NOT_ACCOUNTED, units=missing)] if missing else []
    unexplained = max(told - received - without_receipt, 0)
    # A count that found more says so on the shelf itself; only what is over was taken out.
    over_on_shelf = min(unexplained, on_shelf)
    for units in (over_on_shelf, min(unexplained - over_on_shelf, lot.taken_out)):
        if units:
            points.append(Point(code=Code.SHELF_NOT_RECEIVED, units=units))
    doubtful = on_shelf - over_on_shelf
    for shelf in lot.shelves:
        # Another place holds them by the book: until somebody counts, nobody knows which.
        units = min(max(-shelf.quantity, 0), doubtful)
        doubtful -= units
        if units:
            points.append(Point(code=Code.SHELF_OWED, units=units, place=shelf.place))
    return where, points


def _whereabouts(use: Use) -> Whereabouts:
    if use.circuit is None:
        out = use.out_at is not None
        return Whereabouts.USED if out else Whereabouts.ON_PATIENT
    circuit = use.circuit
    if use.out_at is not None:
        flow = circuit.flow_from
        went_before = flow is None or use.out_at <= flow
        return Whereabouts.BEFORE_USE if went_before else Whereabouts.USED
    if use.leaves and circuit.phase is not Phase.PRIMING:
        return Whereabouts.USED
    return _with_its_circuit(circuit)


def _with_its_circuit(circuit: CircuitLife) -> Whereabouts:
    used = circuit.supported or circuit.flow_from is not None
    match circuit.phase:
        case Phase.PRIMING | Phase.PRIMED:
            return Whereabouts.STANDING
        case Phase.TAKEN | Phase.ON_PATIENT:
            return Whereabouts.ON_PATIENT
        case Phase.ENDED | Phase.TRANSFERRED_OUT:
            return Whereabouts.USED
        case Phase.DISCARDED | Phase.KEPT:
            return Whereabouts.USED if used else Whereabouts.BEFORE_USE
        case _:
            assert_never(circuit.phase)


def _points_of(use: Use, now: datetime) -> Iterator[Point]:
    if not use.place:
        yield _about(use, Code.PLACE)
    if not use.expiry_known:
        yield _about(use, Code.EXPIRY)
    if use.disputed:
        yield _about(use, Code.DISPUTED)
    if use.circuit is not None:
        yield from _points_of_circuit(use, use.circuit, now)
    elif use.run is not None:
        if use.out_at is None and use.run.over:
            yield _about(use, Code.FLOW_OFF)
        yield from _patient(use, use.run)


def _points_of_circuit(use: Use, circuit: CircuitLife, now: datetime) -> Iterator[Point]:
    if circuit.phase is Phase.PRIMING and now - circuit.begun_at > OPEN_AFTER:
        yield _about(use, Code.PRIME_OPEN)
    primed_here = circuit.primed_at is not None and not circuit.foreign
    if primed_here and circuit.signatures < SIGNATURES_NEEDED:
        yield _about(use, Code.SIGNATURES)
    # What is used in priming only was in no run: its own end is known.
    runs = [] if use.leaves else [run for run in circuit.runs if _was_in(use, run)]
    for run in runs:
        last = run is circuit.runs[-1]
        ended_without = last and circuit.supported and run.off_at is not None
        waits = run.off_at is None and now - run.taken_at > OPEN_AFTER
        if run.flow_from is None and (ended_without or waits):
            yield _about(use, Code.FLOW_ON, run)
        if run.off_at is None and run.over:
            yield _about(use, Code.FLOW_OFF, run)
        if run.flow_from is not None or ended_without or run.off_at is None:
            yield from _patient(use, run)


def _was_in(use: Use, run: RunLife) -> bool:
    """Tell whether the piece was in the circuit at some time of this run."""
    came_later = run.off_at is not None and run.off_at <= use.at
    return not came_later and not (use.out_at is not None and use.out_at <= run.taken_at)


def _patient(use: Use, run: RunLife) -> Iterator[Point]:
    if run.patient is PatientKnown.NO:
        yield _about(use, Code.PATIENT, run)
    elif run.patient is PatientKnown.TEMPORARY:
        yield _about(use, Code.PATIENT_TEMPORARY, run)


def _about(use: Use, code: Code, run: RunLife | None = None) -> Point:
    of = run or use.run
    return Point(
        code=code,
        units=1,
        circuit=use.circuit.number if use.circuit else "",
        run=of.number if of else "",
        entry=use.entry,
        place=use.place,
    )
