"""The rule of the drill: units are conserved, and mending a point never lowers the share.

Source of the rule: common practice, no source.
"""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from traceability.domain.circuits import Phase
from traceability.domain.drills.facts import (
    CircuitLife,
    LotRecord,
    OnShelf,
    PatientKnown,
    Received,
    RunLife,
    Use,
)
from traceability.domain.drills.reconcile import (
    Code,
    Point,
    Reconciled,
    Whereabouts,
    reconcile,
    split,
)

NOW = datetime(2031, 5, 6, 12, 0, tzinfo=UTC)
DAY = timedelta(days=1)


def ago(days: int) -> datetime:
    return NOW - days * DAY


DAYS = st.integers(1, 60).map(ago)
MAYBE_DAY = st.none() | DAYS
ENDED = {Phase.ENDED, Phase.TRANSFERRED_OUT}


@st.composite
def runs(draw: st.DrawFn) -> RunLife:
    taken = draw(DAYS)
    off = draw(st.none() | st.timedeltas(timedelta(), 5 * DAY).map(lambda t: taken + t))
    flow = draw(st.none() | st.just(taken))
    return RunLife(
        number="R-0001",
        taken_at=taken,
        flow_from=flow,
        off_at=off,
        over=draw(st.booleans()),
        patient=draw(st.sampled_from(PatientKnown)),
    )


@st.composite
def circuits(draw: st.DrawFn) -> CircuitLife:
    phase = draw(st.sampled_from(Phase))
    return CircuitLife(
        number="C-0001",
        foreign=draw(st.booleans()),
        begun_at=draw(DAYS),
        primed_at=None if phase is Phase.PRIMING else draw(DAYS),
        signatures=draw(st.integers(0, 2)),
        phase=phase,
        phase_since=draw(DAYS),
        supported=phase in ENDED or draw(st.booleans()),
        runs=tuple(sorted(draw(st.lists(runs(), max_size=2)), key=lambda run: run.taken_at)),
    )


@st.composite
def uses(draw: st.DrawFn) -> Use:
    circuit = draw(st.none() | circuits())
    at = draw(DAYS)
    return Use(
        piece=UUID(int=draw(st.integers(0, 2**64))),
        place=draw(st.sampled_from(["", "Tap"])),
        at=at,
        out_at=draw(st.none() | st.just(at + DAY)),
        from_shelf=draw(st.booleans()),
        leaves=draw(st.booleans()),
        expiry_known=draw(st.booleans()),
        disputed=draw(st.booleans()),
        entry=draw(st.integers(1, 99)),
        circuit=circuit,
        run=draw(runs()) if circuit is None else None,
    )


SHELVES = st.lists(
    st.builds(
        OnShelf, place=st.just("trolley 1"), quantity=st.integers(-4, 6), counted_at=MAYBE_DAY
    ),
    max_size=3,
).map(tuple)
LOTS = st.builds(
    LotRecord,
    lot_id=st.just(UUID(int=1)),
    text=st.just("T77-0B1"),
    product_id=st.just(UUID(int=2)),
    product=st.just("Three-way tap"),
    counted=st.booleans(),
    booked_from=MAYBE_DAY,
    received=st.lists(st.builds(Received, at=DAYS, quantity=st.integers(1, 5)), max_size=4).map(
        tuple
    ),
    shelves=SHELVES,
    taken_out=st.integers(0, 3),
    uses=st.lists(uses(), max_size=6).map(tuple),
)


def share(found: Reconciled) -> Fraction:
    return Fraction(found.reconciled, found.units) if found.units else Fraction(1)


@given(LOTS)
def test_every_unit_stands_in_exactly_one_class_and_none_is_lost(lot: LotRecord) -> None:
    found = reconcile(lot, NOW)
    assert sum(found.where.values()) == found.units
    assert 0 <= found.reconciled <= found.units
    assert (found.reconciled == found.units) == (not found.points)
    in_use = (
        Whereabouts.STANDING,
        Whereabouts.ON_PATIENT,
        Whereabouts.USED,
        Whereabouts.BEFORE_USE,
    )
    assert sum(found.where[each] for each in in_use) == len(lot.uses)
    if lot.counted:
        inside = sum(not use.from_shelf for use in lot.uses)
        received = sum(each.quantity for each in lot.received)
        assert found.units >= received + inside, "a received unit is always somewhere"
        told = sum(use.from_shelf for use in lot.uses) + lot.taken_out
        assert found.units == max(received, told + found.where[Whereabouts.SHELF]) + inside
    else:
        assert found.units == len(lot.uses), "ward stock is followed from use to end only"


def mended_run(run: RunLife) -> RunLife:
    off = run.off_at or (run.taken_at if run.over else None)
    return replace(
        run, flow_from=run.flow_from or run.taken_at, off_at=off, patient=PatientKnown.YES
    )


def mended(lot: LotRecord, point: Point) -> LotRecord:
    """Do what the list to mend asks for at one of its points."""
    match point.code:
        case Code.NOT_ACCOUNTED:
            return replace(lot, taken_out=lot.taken_out + point.units)
        case Code.SHELF_NOT_RECEIVED:
            more = Received(at=ago(99), quantity=point.units)
            return replace(lot, received=(*lot.received, more))
        case Code.SHELF_OWED:
            total = max(sum(shelf.quantity for shelf in lot.shelves), 0)
            there = OnShelf(place="trolley 1", quantity=total, counted_at=NOW)
            return replace(lot, shelves=(there,))
        case Code.NOT_RECEIVED:
            received = [each for each in lot.received if each.quantity]
            later = next((each for each in received if each.at > ago(99)), None)
            first = Received(at=ago(99), quantity=1)
            if later is None:
                return replace(lot, received=(*received, first))
            received.remove(later)
            rest = replace(later, quantity=later.quantity - 1)
            return replace(lot, received=(*received, rest, first))
    changed = [mended_use(use, point.code) if use.entry == point.entry else use for use in lot.uses]
    return replace(lot, uses=tuple(changed))


def mended_use(use: Use, code: Code) -> Use:
    circuit, run = use.circuit, use.run
    if circuit is not None and code is Code.SIGNATURES:
        circuit = replace(circuit, signatures=2)
    if circuit is not None and code is Code.PRIME_OPEN:
        circuit = replace(circuit, phase=Phase.DISCARDED)
    if code in {Code.FLOW_ON, Code.FLOW_OFF, Code.PATIENT, Code.PATIENT_TEMPORARY}:
        if circuit is not None:
            circuit = replace(circuit, runs=tuple(mended_run(each) for each in circuit.runs))
        if run is not None:
            run = mended_run(run)
            if run.over and use.out_at is None:
                use = replace(use, out_at=NOW)
    return replace(
        use,
        circuit=circuit,
        run=run,
        place=use.place or ("Tap" if code is Code.PLACE else ""),
        expiry_known=use.expiry_known or code is Code.EXPIRY,
        disputed=use.disputed and code is not Code.DISPUTED,
    )


@given(LOTS)
def test_mending_a_point_raises_the_share_or_leaves_it(lot: LotRecord) -> None:
    before = reconcile(lot, NOW)
    for point in before.points:
        after = reconcile(mended(lot, point), NOW)
        assert share(after) >= share(before), point


def life(phase: Phase = Phase.ENDED, *given: RunLife, signatures: int = 2) -> CircuitLife:
    return CircuitLife(
        number="C-0001",
        foreign=False,
        begun_at=ago(20),
        primed_at=ago(20),
        signatures=signatures,
        phase=phase,
        phase_since=ago(9),
        supported=phase in ENDED,
        runs=given,
    )


RUN = RunLife(
    number="R-0001",
    taken_at=ago(10),
    flow_from=ago(10),
    off_at=ago(9),
    over=True,
    patient=PatientKnown.YES,
)
TAP = Use(
    piece=UUID(int=7),
    place="Tap",
    at=ago(20),
    out_at=None,
    from_shelf=True,
    leaves=False,
    expiry_known=True,
    disputed=False,
    entry=7,
    circuit=life(Phase.ENDED, RUN),
    run=None,
)
LOT = LotRecord(
    lot_id=UUID(int=1),
    text="T77-0B1",
    product_id=UUID(int=2),
    product="Three-way tap",
    counted=True,
    booked_from=ago(40),
    received=(Received(at=ago(30), quantity=5),),
    shelves=(OnShelf(place="trolley 1", quantity=3, counted_at=ago(2)),),
    taken_out=1,
    uses=(TAP,),
)


def codes(lot: LotRecord) -> list[Code]:
    return [point.code for point in reconcile(lot, NOW).points]


def test_a_lot_that_is_followed_to_its_end_has_nothing_open() -> None:
    found = reconcile(LOT, NOW)
    assert (found.units, found.reconciled, found.points) == (5, 5, ())
    assert found.where[Whereabouts.USED] == 1
    assert found.counted_at == ago(2)


@pytest.mark.parametrize(
    ("lot", "code"),
    [
        (replace(LOT, taken_out=0), Code.NOT_ACCOUNTED),
        (replace(LOT, received=(Received(at=ago(3), quantity=5),)), Code.NOT_RECEIVED),
        (replace(LOT, taken_out=2), Code.SHELF_NOT_RECEIVED),
        (replace(LOT, uses=(replace(TAP, place=""),)), Code.PLACE),
        (replace(LOT, uses=(replace(TAP, expiry_known=False),)), Code.EXPIRY),
        (replace(LOT, uses=(replace(TAP, disputed=True),)), Code.DISPUTED),
        (
            replace(LOT, uses=(replace(TAP, circuit=life(Phase.ENDED, RUN, signatures=1)),)),
            Code.SIGNATURES,
        ),
        (replace(LOT, uses=(replace(TAP, circuit=life(Phase.PRIMING)),)), Code.PRIME_OPEN),
        (
            replace(
                LOT,
                uses=(replace(TAP, circuit=life(Phase.ENDED, replace(RUN, flow_from=None))),),
            ),
            Code.FLOW_ON,
        ),
        (
            replace(
                LOT,
                uses=(replace(TAP, circuit=life(Phase.ON_PATIENT, replace(RUN, off_at=None))),),
            ),
            Code.FLOW_OFF,
        ),
        (
            replace(
                LOT,
                uses=(
                    replace(TAP, circuit=life(Phase.ENDED, replace(RUN, patient=PatientKnown.NO))),
                ),
            ),
            Code.PATIENT,
        ),
    ],
)
def test_each_gap_is_one_open_point_and_one_unit_less(lot: LotRecord, code: Code) -> None:
    assert code in codes(lot)
    found = reconcile(lot, NOW)
    assert found.reconciled == found.units - 1


def test_what_came_back_unused_needs_no_flow_and_no_patient() -> None:
    back = replace(RUN, flow_from=None, over=True, patient=PatientKnown.NO)
    for phase in (Phase.PRIMED, Phase.DISCARDED):
        assert codes(replace(LOT, uses=(replace(TAP, circuit=life(phase, back)),))) == []


def test_a_part_that_was_swapped_out_before_a_run_knows_nothing_of_it() -> None:
    gone = replace(TAP, out_at=ago(15), circuit=life(Phase.ENDED, replace(RUN, flow_from=None)))
    assert codes(replace(LOT, uses=(gone,))) == []


def test_what_the_pack_brought_was_never_to_be_on_a_shelf() -> None:
    inner = replace(
        LOT, received=(), shelves=(), taken_out=0, uses=(replace(TAP, from_shelf=False),)
    )
    found = reconcile(inner, NOW)
    assert (found.units, found.reconciled) == (1, 1)


@given(LOTS)
def test_each_use_is_followed_in_exactly_one_part(lot: LotRecord) -> None:
    parts = split(lot)
    uses = sorted((use for part in parts for use in part.uses), key=repr)
    assert uses == sorted(lot.uses, key=repr)
    if lot.counted and lot.booked_from is not None:
        booked = [part for part in parts if part.counted]
        assert all(part.received == lot.received for part in booked)
        since = lot.booked_from
        apart = [use for part in parts if not part.counted for use in part.uses]
        assert all(use.from_shelf and use.at < since for use in apart)


@given(LOTS)
def test_mending_a_point_of_the_whole_lot_lowers_no_part(lot: LotRecord) -> None:
    for part in split(lot):
        for point in reconcile(part, NOW).points:
            assert share(reconcile(mended(part, point), NOW)) >= share(reconcile(part, NOW))


def test_what_was_used_before_the_book_began_stands_apart() -> None:
    early = replace(TAP, at=ago(50), piece=UUID(int=8))
    whole, apart = split(replace(LOT, uses=(TAP, early)))
    assert (whole.uses, apart.uses) == ((TAP,), (early,))
    assert codes(apart) == codes(whole) == []
    assert [part.counted for part in split(replace(LOT, booked_from=None))] == [False]
