"""What is said of a step: begun, done with its readings, not done and why; and taken back.

Nothing here stops a prime. A reading outside its range is kept as it was said and asks to look
again; a step that nobody says is named when the prime ends, and recorded as a caution with it.
"""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from datetime import datetime
from typing import ClassVar
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.actions.on_circuit import the_circuit
from traceability.actions.once import Asked, Done, Site, answer_once, ledger_of
from traceability.domain.circuits import Phase
from traceability.domain.events import Kind, Plain
from traceability.domain.moments import believed_moment
from traceability.domain.people import Right
from traceability.domain.readings import BadReading
from traceability.domain.steps import (
    NotDone,
    ReadingSaid,
    Step,
    StepSaid,
    StepState,
    open_steps,
    said_reading,
)
from traceability.domain.trolley import Verdict
from traceability.errors import (
    BadValue,
    NotAllowed,
    NothingToUndo,
    UnknownCode,
    WrongState,
)
from traceability.security.roles import rights_of_person
from traceability.storage.circuits import Circuit
from traceability.storage.ledger import OpenLedger
from traceability.storage.lookup import phase_of, prime_of
from traceability.storage.people import Person
from traceability.storage.steps import row_of, said_of, steps_of


@dataclass(frozen=True, slots=True, kw_only=True)
class SayStep(Asked):
    """A person says something of one step."""

    kind: ClassVar[str] = "say-step"
    right: ClassVar[Right | None] = Right.ACT
    circuit_id: UUID
    step: str
    state: StepState
    at: datetime
    readings: Mapping[str, str] = field(default_factory=dict)
    """Short name of each reading and what was said of it."""
    reason: str = ""
    """Code of why it was not done."""
    other_id: UUID | None = None
    """The second person, told by their badge. It is no signature."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeStepBack(Asked):
    """What stands of a step was not so."""

    kind: ClassVar[str] = "take-step-back"
    right: ClassVar[Right | None] = Right.ACT
    circuit_id: UUID
    step: str
    at: datetime


def say_step(asked: SayStep, *, site: Site) -> Done:
    """Record it; the verdict is *look again* where a reading lies outside its range.

    Raises:
        UnknownCode: no such circuit, step or person. BadValue: a reading that cannot be read or is
        missing, a reason that is none, a second person who is the first.
        NotAllowed: the prime has ended, the step was said, and somebody else may say it anew.
        WrongState: the circuit was not primed here. Nothing was written.
    """
    return answer_once(asked, _say, site)


def take_step_back(asked: TakeStepBack, *, site: Site) -> Done:
    """Take back what stands of the step: it is open again, and both stay on record.

    Raises:
        NothingToUndo: nothing was said of it. NotAllowed. Nothing was written.
    """
    return answer_once(asked, _take_back, site)


def _say(asked: SayStep, session: Session, site: Site) -> Done:
    circuit = the_circuit(session, site, asked.circuit_id)
    step = _the_step(session, circuit, asked.step)
    stood = said_of(session, circuit).get(step.id)
    late = _is_late(session, circuit)
    if late and stood is not None:
        _require_may_change(asked, session, circuit, stood)
    readings = _readings(asked, step)
    if asked.state is StepState.NOT_DONE and asked.reason not in set(NotDone):
        raise BadValue(field="why", value=asked.reason, why="not-one-of", of=tuple(NotDone))
    other = _other(asked, session, circuit, step)
    ledger = ledger_of(asked, session, site)
    at, noted = believed_moment(asked.at, now=ledger.now, not_before=circuit.begun_at)
    outside = [each for each in readings if each.outside]
    if outside:
        noted += ("reading-outside",)
    code = "step-outside" if outside else f"step-{asked.state}"
    facts: dict[str, Plain] = {
        "step": step.id,
        "name": step.name,
        "readings": [each.words for each in readings],
        "outside": [f"{each.name}: usual is {each.range_words}" for each in outside],
        "reason": asked.reason if asked.state is StepState.NOT_DONE else "",
        "minutes": step.minutes,
        "other": other.name if other else None,
        "again": stood is not None and stood.is_closed,
        "late": late,
    }
    body = {
        "circuit": circuit.id,
        "step": step.id,
        "state": asked.state,
        "begun_at": _begun_at(asked.state, at, stood),
        "reason": facts["reason"],
        "readings": [asdict(each) for each in readings],
        "other": asked.other_id if other else None,
        "late": late,
        "verdict": Verdict.LOOK_AGAIN if outside else Verdict.ACCEPTED,
        "code": code,
        "facts": facts,
        "scan": None,
        "device_at": asked.at,
        "cautions": noted,
    }
    number = ledger.append(Kind.STEP_SAID, body, happened_at=at)
    return Done(
        first_no=number,
        last_no=number,
        subject=circuit.id,
        code=code,
        verdict=str(body["verdict"]),
        facts=facts,
        cautions=noted,
    )


def _take_back(asked: TakeStepBack, session: Session, site: Site) -> Done:
    circuit = the_circuit(session, site, asked.circuit_id)
    step = _the_step(session, circuit, asked.step)
    row = row_of(session, circuit, step.id)
    if row is None:
        raise NothingToUndo
    if _is_late(session, circuit):
        _require_may_change(asked, session, circuit, said_of(session, circuit)[step.id])
    ledger = ledger_of(asked, session, site)
    return _taken_back(ledger, circuit, row.said_no, step, asked.at)


def undo_step(
    ledger: OpenLedger, session: Session, circuit: Circuit, number: int, step_id: str, at: datetime
) -> Done:
    """Take back what entry `number` said of a step, for *undo last*.

    Raises:
        NothingToUndo: something else was said of the step since. Nothing was written.
    """
    row = row_of(session, circuit, step_id)
    if row is None or row.said_no != number:
        raise NothingToUndo
    step = _the_step(session, circuit, step_id)
    return _taken_back(ledger, circuit, number, step, at, restores=True)


def _taken_back(
    ledger: OpenLedger,
    circuit: Circuit,
    number: int,
    step: Step,
    at: datetime,
    *,
    restores: bool = False,
) -> Done:
    """Append that entry `number` said of the step what is not so.

    `restores`: what that entry had replaced stands again; else the step is open.
    """
    believed, noted = believed_moment(at, now=ledger.now, not_before=circuit.begun_at)
    facts: dict[str, Plain] = {"step": step.id, "name": step.name}
    body = {
        "circuit": circuit.id,
        "step": step.id,
        "undone_no": number,
        "restores": restores,
        "verdict": Verdict.ACCEPTED,
        "code": "step-taken-back",
        "facts": facts,
        "scan": None,
        "device_at": at,
        "cautions": noted,
    }
    entry = ledger.append(Kind.STEP_TAKEN_BACK, body, happened_at=believed)
    return Done(
        first_no=entry,
        last_no=entry,
        subject=circuit.id,
        code="step-taken-back",
        facts=facts,
        cautions=noted,
    )


def not_said(session: Session, circuit: Circuit) -> list[str]:
    """Return the short names of the steps that are still open."""
    steps = steps_of(session, circuit)
    return [step.id for step in open_steps(steps, said_of(session, circuit))] if steps else []


def _the_step(session: Session, circuit: Circuit, step_id: str) -> Step:
    found = [step for step in steps_of(session, circuit) if step.id == step_id]
    if not found:
        raise UnknownCode(what="step", value=step_id[:60])
    return found[0]


def _is_late(session: Session, circuit: Circuit) -> bool:
    """Tell whether the prime has ended.

    Raises:
        WrongState: it was stopped, or was never one of ours.
    """
    if prime_of(session, circuit) is not None:
        return True
    phase = phase_of(session, circuit).phase
    if phase != Phase.PRIMING:
        raise WrongState(number=circuit.number, state=phase, act="step")
    return False


def _require_may_change(
    asked: SayStep | TakeStepBack, session: Session, circuit: Circuit, stood: StepSaid
) -> None:
    """Who said it, or who may sign a prime, sets it right after the end; both stay on record."""
    if stood.by_id is not None and stood.by_id == asked.sent.actor_id:
        return
    if Right.PRIME not in rights_of_person(session, circuit.site_id, asked.sent.actor_id):
        raise NotAllowed(right=Right.PRIME, person="")


def _readings(asked: SayStep, step: Step) -> list[ReadingSaid]:
    if asked.state is not StepState.DONE:
        return []
    found = []
    for each in step.readings:
        said = asked.readings.get(each.id, "")
        try:
            found.append(said_reading(each, said))
        except BadReading as wrong:
            raise BadValue(
                field=each.name, value=said.strip()[:40], why=wrong.fault, unit=each.unit
            ) from None
    return found


def _other(asked: SayStep, session: Session, circuit: Circuit, step: Step) -> Person | None:
    """Return the second person of a step that asks for two.

    Raises:
        BadValue: nobody is named, or it is who says it. UnknownCode: nobody is known by that.
    """
    if not step.both or asked.state is not StepState.DONE:
        return None
    if asked.other_id is None:
        raise BadValue(field=step.name, value="", why="step-needs-two")
    person = session.get(Person, (circuit.site_id, asked.other_id))
    if person is None or not person.active:
        raise UnknownCode(what="person", value="this badge")
    if person.id == asked.sent.actor_id:
        raise BadValue(field=step.name, value=person.name, why="step-same-person")
    return person


def _begun_at(state: StepState, at: datetime, stood: StepSaid | None) -> datetime | None:
    if state is StepState.BEGUN:
        return at
    return stood.begun_at if stood is not None and state is StepState.DONE else None
