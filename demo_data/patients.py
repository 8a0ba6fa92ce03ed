"""A patient's run: taken, flow on, parts swapped, circuits changed, the end."""

from dataclasses import dataclass, field
from datetime import timedelta
from typing import TYPE_CHECKING, Final
from uuid import UUID

from traceability.actions.circuit.foreign import TakeInForeign, take_in_foreign
from traceability.actions.run.change import ChangeOut, change_out
from traceability.actions.run.come_back import CameBackUnused, TakeBack, came_back_unused, take_back
from traceability.actions.run.flow import EndRun, FlowOff, FlowOn, end_run, flow_off, flow_on
from traceability.actions.run.patient import SetPatient, set_patient
from traceability.actions.run.swap import SwapPart, swap_part
from traceability.actions.run.take import TakeCircuit, take_circuit
from traceability.domain.moments import Manner

from .beside import put_beside, take_out
from .hospital import BOX_3, CONSOLE_3, FALK, PHONE_4, SATO, TROLLEY_1, Stand
from .posts import Keeper, discard
from .primes import require
from .stage import Story
from .ward import Primed, Ward

if TYPE_CHECKING:
    from collections.abc import Callable


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """How a run goes."""

    days: float
    retrieval: bool = False
    """Fetched with the boxed circuit, from another hospital."""
    foreign: bool = False
    """Comes on a circuit that was primed elsewhere."""
    swaps: int = 0
    changes: int = 0
    """How often the circuit is changed."""
    flow_on_recorded: bool = True
    late: bool = False
    """Flow on was entered more than a day later."""
    transferred: bool = False
    """Leaves with the circuit for another hospital."""
    patient_known: bool = True
    """False: stays under the temporary identity."""


SWAPPED: Final = ("tap-middle", "tap-after", "tap-before")
"""Places where taps are swapped most."""


@dataclass(slots=True)
class Run:
    """One run under way."""

    ward: Ward
    id: UUID
    number: str
    circuit: Primed
    bed: Stand
    used: list[Primed]
    parts: list[UUID] = field(default_factory=list)
    """Cannulae that lie in the patient."""


def live_run(
    ward: Ward,
    keeper: Keeper,
    course: Course,
    reference: str,
    *,
    circuit: Primed | None = None,
) -> Story[None]:
    """Live through one run; `circuit` is one that was primed for this patient."""
    stage = ward.stage
    bed = ward.free_beds.pop(0)
    if course.foreign:
        run = yield from _arrives(ward, bed)
    else:
        wanted = (BOX_3, CONSOLE_3) if course.retrieval else (CONSOLE_3, BOX_3)
        circuit = circuit or (yield from _one_ready(ward, keeper, wanted))
        run = yield from begin_run(ward, circuit, course, bed)
    yield stage.minutes(5, 40)
    name_patient(run, "")
    run.parts = put_beside(stage, run.id, run.number, bed)
    if course.patient_known:
        yield stage.hours(1, 12)
        name_patient(run, reference)
    if course.foreign:
        # Contents not known: it is changed soon, as many units do.
        yield from _change(run, keeper)
    yield from _days_on(run, keeper, course)
    yield from _ends(run, course)
    ward.free_beds.append(bed)


def begin_run(ward: Ward, circuit: Primed, course: Course, bed: Stand) -> Story[Run]:
    """Take the circuit and let blood flow."""
    stage = ward.stage
    manner = Manner.PLANNED if course.retrieval else Manner.EMERGENCY
    person = FALK if course.retrieval else None
    asked = TakeCircuit(
        sent=stage.sent(PHONE_4, person), number=circuit.number, at=stage.now, manner=manner
    )
    done = take_circuit(asked, site=stage.site)
    require(done, "taken")
    number = str(done.facts["run"])
    ward.chronicle.runs.append(number)
    run = Run(ward, UUID(str(done.facts["run_id"])), number, circuit, bed, [circuit])
    if not course.flow_on_recorded:
        ward.count("flow on not recorded")
        return run
    yield stage.hours(2, 5) if course.retrieval else stage.minutes(4, 20)
    on_at = stage.now
    if course.retrieval:
        # No network where they were: entered on return.
        yield stage.hours(28, 34) if course.late else stage.hours(1, 4)
        ward.count("flow on entered late" if course.late else "flow on entered on return")
    asked_on = FlowOn(
        sent=stage.sent(PHONE_4, person),
        circuit_id=circuit.id,
        run_id=run.id,
        at=on_at,
        manner=manner,
        place_id=bed.id,
    )
    require(flow_on(asked_on, site=stage.site), "flow-on")
    return run


def _one_ready(ward: Ward, keeper: Keeper, wanted: tuple[Stand, ...]) -> Story[Primed]:
    while True:
        for stand in wanted:
            circuit = keeper.take(stand)
            if circuit is not None:
                return circuit
        # The neighbours' team comes instead, or the patient waits for the prime.
        ward.count("none ready")
        yield ward.stage.hours(1, 3)


def _arrives(ward: Ward, bed: Stand) -> Story[Run]:
    """Patient and circuit come from another hospital; contents not recorded."""
    stage = ward.stage
    arrived = take_in_foreign(
        TakeInForeign(
            sent=stage.sent(PHONE_4, SATO),
            sender="Inventium East ICU",
            at=stage.now,
            place_id=bed.id,
        ),
        site=stage.site,
    )
    require(arrived, "foreign-arrived")
    if arrived.subject is None:
        raise RuntimeError("a foreign circuit without an id")
    number = str(arrived.facts["number"])
    circuit = Primed(id=arrived.subject, number=number, circuit_type="")
    yield stage.minutes(1, 3)
    done = take_circuit(
        TakeCircuit(
            sent=stage.sent(PHONE_4, SATO), number=number, at=stage.now, manner=Manner.PLANNED
        ),
        site=stage.site,
    )
    require(done, "taken")
    ward.count("transferred in")
    ward.chronicle.runs.append(str(done.facts["run"]))
    run = Run(
        ward,
        UUID(str(done.facts["run_id"])),
        str(done.facts["run"]),
        circuit,
        bed,
        [circuit],
    )
    asked_on = FlowOn(
        sent=stage.sent(PHONE_4, SATO),
        circuit_id=circuit.id,
        run_id=run.id,
        at=stage.now,
        manner=Manner.PLANNED,
        place_id=bed.id,
    )
    require(flow_on(asked_on, site=stage.site), "flow-on")
    return run


def _days_on(run: Run, keeper: Keeper, course: Course) -> Story[None]:
    """Let the days on the circuit pass, with swaps and changes at even distances."""
    acts: list[Callable[[], Story[None]]] = [lambda: _swap(run)] * course.swaps
    for number in range(course.changes):
        acts.insert(number * 2 + 1, lambda: _change(run, keeper))
    each = timedelta(days=course.days) / (len(acts) + 1)
    for act in acts:
        yield each
        yield from act()
    yield each


def _swap(run: Run) -> Story[None]:
    """A tap leaks or is clotted: old out, new in."""
    ward = run.ward
    stage = ward.stage
    lot = ward.stock.lot("tap", stage.now)
    asked = SwapPart(
        sent=stage.sent(PHONE_4, SATO),
        circuit_id=run.circuit.id,
        slot=SWAPPED[ward.chronicle.acts["swap"] % len(SWAPPED)],
        ordinal=1,
        at=stage.now,
        text="]d2" + ward.stock.code("tap", lot).text,
        reason="leak",
    )
    require(swap_part(asked, site=stage.site), "swapped")
    ward.chronicle.tap_lots[lot.text].add(run.circuit.number)
    ward.count("swap")
    yield stage.minutes(1, 5)


def _change(run: Run, keeper: Keeper) -> Story[None]:
    """Change the circuit: the new one is taken from its post."""
    ward = run.ward
    stage = ward.stage
    new = yield from _one_ready(ward, keeper, (CONSOLE_3, BOX_3))
    off_at = stage.now
    yield stage.minutes(2, 6)
    asked = ChangeOut(
        sent=stage.sent(PHONE_4, SATO),
        old_circuit_id=run.circuit.id,
        run_id=run.id,
        new_number=new.number,
        off_at=off_at,
        on_at=stage.now,
    )
    require(change_out(asked, site=stage.site), "changed")
    run.circuit = new
    run.used.append(new)
    ward.count("change-out")


def _ends(run: Run, course: Course) -> Story[None]:
    ward = run.ward
    stage = ward.stage
    if course.transferred:
        asked_off = FlowOff(
            sent=stage.sent(PHONE_4, SATO),
            circuit_id=run.circuit.id,
            run_id=run.id,
            at=stage.now,
            manner=Manner.PLANNED,
            transferred=True,
        )
        require(flow_off(asked_off, site=stage.site), "flow-off")
        ward.count("transferred out")
        run.used.remove(run.circuit)
    else:
        asked = EndRun(sent=stage.sent(PHONE_4, SATO), run_id=run.id, at=stage.now)
        require(end_run(asked, site=stage.site), "run-ended")
        take_out(stage, run.id, run.number, run.parts)
    yield stage.minutes(20, 120)
    for circuit in run.used:
        discard(ward, circuit, "used")


def name_patient(run: Run, reference: str) -> None:
    """Tie the run to a patient; an empty reference gives a temporary identity."""
    stage = run.ward.stage
    asked = SetPatient(
        sent=stage.sent(PHONE_4, SATO), run_id=run.id, reference=reference, at=stage.now
    )
    require(set_patient(asked, site=stage.site), "patient-set")


def wrong_scan(ward: Ward, keeper: Keeper) -> Story[None]:
    """Somebody scans the tag of the box by mistake and takes it back."""
    stage = ward.stage
    circuit = keeper.ready(BOX_3)
    if circuit is None:
        return
    taken = TakeCircuit(
        sent=stage.sent(TROLLEY_1, None),
        number=circuit.number,
        at=stage.now,
        manner=Manner.EMERGENCY,
    )
    done = take_circuit(taken, site=stage.site)
    ward.chronicle.runs.append(str(done.facts["run"]))
    yield stage.minutes(0.5, 2)
    asked = TakeBack(sent=stage.sent(TROLLEY_1, None), circuit_id=circuit.id, at=stage.now)
    take_back(asked, site=stage.site)
    ward.count("take withdrawn")


def away_for_nothing(ward: Ward, keeper: Keeper) -> Story[None]:
    """The retrieval team goes out, is not needed, and brings the box back with its seal whole."""
    stage = ward.stage
    circuit = keeper.take(BOX_3)
    if circuit is None:
        return
    taken = TakeCircuit(
        sent=stage.sent(PHONE_4, FALK), number=circuit.number, at=stage.now, manner=Manner.PLANNED
    )
    done = take_circuit(taken, site=stage.site)
    ward.chronicle.runs.append(str(done.facts["run"]))
    yield stage.hours(3, 9)
    stand = keeper.put_back(BOX_3, circuit)
    back = CameBackUnused(
        sent=stage.sent(PHONE_4, FALK),
        circuit_id=circuit.id,
        place_id=stand.id,
        at=stage.now,
    )
    came_back_unused(back, site=stage.site)
    ward.count("came back unused")
