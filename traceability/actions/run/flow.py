"""Flow on and flow off: when exposure is certain, and when it ends.

In code and standards this is connect and disconnect; on the screen it is *flow on*, *flow off*.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.actions.on_circuit import the_circuit
from traceability.actions.once import Asked, Done, Site, answer_once, ledger_of
from traceability.actions.run.take import TakeCircuit, record_take
from traceability.domain.circuits import Phase
from traceability.domain.events import Kind
from traceability.domain.moments import Manner, believed_moment, is_before
from traceability.domain.people import Right
from traceability.errors import NotOnRun, UnknownCode, WrongMoment, WrongState
from traceability.storage.circuits import Circuit
from traceability.storage.lookup import phase_of
from traceability.storage.runs import CircuitOnRun, Run
from traceability.storage.site import Place


@dataclass(frozen=True, slots=True, kw_only=True)
class FlowOn(Asked):
    """Blood flows through this circuit from `at`."""

    kind: ClassVar[str] = "flow-on"
    right: ClassVar[Right | None] = None
    circuit_id: UUID
    at: datetime
    manner: Manner
    run_id: UUID | None = None
    """None: the run the circuit was taken for."""
    place_id: UUID | None = None
    """The bed space, if it was said."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FlowOff(Asked):
    """The circuit no longer supports the run from `at`."""

    kind: ClassVar[str] = "flow-off"
    right: ClassVar[Right | None] = Right.ACT
    circuit_id: UUID
    at: datetime
    manner: Manner
    run_id: UUID | None = None
    run_ends: bool = False
    """The patient's support is over with it."""
    transferred: bool = False
    """Patient and circuit leave together for another hospital."""


@dataclass(frozen=True, slots=True, kw_only=True)
class EndRun(Asked):
    """The patient's support is over."""

    kind: ClassVar[str] = "end-run"
    right: ClassVar[Right | None] = Right.ACT
    run_id: UUID
    at: datetime


def flow_on(asked: FlowOn, *, site: Site) -> Done:
    """Record from when blood flowed.

    Raises:
        NotOnRun: the circuit was not taken for a run. WrongMoment: before it was taken.
        WrongState: flow on is recorded already. Planned acts only; nothing was written. Otherwise
        a take that nobody recorded is recorded with it, and of two times the earlier one counts.
    """
    return answer_once(asked, record_flow_on, site)


def flow_off(asked: FlowOff, *, site: Site) -> Done:
    """End every claim of the circuit on the run; what was believed before stays readable.

    Raises:
        NotOnRun, WrongMoment: planned acts only; nothing was written. Otherwise a take that
        nobody recorded is recorded with it.
    """
    return answer_once(asked, record_flow_off, site)


def end_run(asked: EndRun, *, site: Site) -> Done:
    """Take off whatever circuit is still on, and end the run.

    Raises:
        UnknownCode: no such run. WrongMoment: it would end before it began, or has ended.
    """
    return answer_once(asked, _end_run, site)


def _claims(session: Session, circuit: Circuit, run_id: UUID | None) -> list[CircuitOnRun]:
    rows = select(CircuitOnRun).filter_by(
        site_id=circuit.site_id, circuit_id=circuit.id, valid_to=None, superseded_no=None
    )
    if run_id is not None:
        rows = rows.filter_by(run_id=run_id)
    return list(session.scalars(rows.order_by(CircuitOnRun.disputed, CircuitOnRun.recorded_no)))


def _claim(
    asked: FlowOn | FlowOff, circuit: Circuit, session: Session, site: Site
) -> tuple[CircuitOnRun, Done | None]:
    """Return the claim that is meant, and the take that had to be recorded for it, if any."""
    claims = _claims(session, circuit, asked.run_id)
    if claims:
        return claims[0], None
    if asked.manner.refusable:
        raise NotOnRun(number=circuit.number, run=asked.run_id)
    # It has happened, or cannot wait: the take was not recorded, or its queue has not come yet.
    # Off without a take: it may have been on ever since it was last known to stand somewhere.
    known_since = phase_of(session, circuit).valid_from
    take = TakeCircuit(
        sent=asked.sent,
        number=circuit.number,
        at=min(asked.at, known_since) if isinstance(asked, FlowOff) else asked.at,
        manner=asked.manner,
        run_id=asked.run_id,
    )
    taken = record_take(take, session, site)
    run_id = UUID(str(taken.facts["run_id"]))
    return _claims(session, circuit, run_id)[0], taken


def _with_take(taken: Done | None, noted: tuple[str, ...]) -> tuple[str, ...]:
    """Return the cautions, with those of a take that had to be recorded first."""
    if taken is None:
        return noted
    return (*(each for each in taken.cautions if each not in noted), "not-taken-before", *noted)


def record_flow_on(asked: FlowOn, session: Session, site: Site) -> Done:
    """Record it in the transaction that is open; see `flow_on`."""
    circuit = the_circuit(session, site, asked.circuit_id)
    if asked.place_id is not None and session.get(Place, (site.id, asked.place_id)) is None:
        raise UnknownCode(what="place", value=str(asked.place_id))
    claim, taken = _claim(asked, circuit, session, site)
    if asked.manner.refusable and claim.flow_from is not None:
        raise WrongState(number=circuit.number, state=Phase.ON_PATIENT, act="flow-on")
    if asked.manner.refusable and asked.at < claim.valid_from:
        raise WrongMoment(moment=asked.at, limit=claim.valid_from, side="before-taken")
    ledger = ledger_of(asked, session, site)
    at, noted = believed_moment(asked.at, now=ledger.now, not_before=claim.valid_from)
    noted = _with_take(taken, noted)
    if claim.flow_from is not None:
        noted += ("flow-on-said-before",)
    body = {
        "circuit": circuit.id,
        "run": claim.run_id,
        "place": asked.place_id,
        "disputed": claim.disputed,
        "manner": asked.manner,
        "device_at": asked.at,
        "cautions": noted,
    }
    number = ledger.append(Kind.FLOW_ON, body, happened_at=at)
    run = session.get_one(Run, (site.id, claim.run_id))
    return Done(
        first_no=taken.first_no if taken else number,
        last_no=number,
        subject=circuit.id,
        code="flow-on",
        facts={"number": circuit.number, "run": run.number, "run_id": str(run.id)},
        disputed=claim.disputed,
        cautions=noted,
    )


def record_flow_off(asked: FlowOff, session: Session, site: Site) -> Done:
    """Record it in the transaction that is open; see `flow_off`."""
    circuit = the_circuit(session, site, asked.circuit_id)
    claim, taken = _claim(asked, circuit, session, site)
    since = max(claim.flow_from or claim.valid_from, claim.valid_from)
    if asked.manner.refusable and asked.at < since:
        raise WrongMoment(moment=asked.at, limit=since, side="before-flow-on")
    ledger = ledger_of(asked, session, site)
    first_no = taken.first_no if taken else ledger.next_no
    at, noted = believed_moment(asked.at, now=ledger.now, not_before=since)
    noted = _with_take(taken, noted)
    body = {
        "circuit": circuit.id,
        "run": claim.run_id,
        "disputed": claim.disputed,
        "transferred": asked.transferred,
        "manner": asked.manner,
        "device_at": asked.at,
        "cautions": noted,
    }
    number = ledger.append(Kind.FLOW_OFF, body, happened_at=at)
    if asked.run_ends or asked.transferred:
        number = ledger.append(Kind.RUN_ENDED, {"run": claim.run_id}, happened_at=at)
    run = session.get_one(Run, (site.id, claim.run_id))
    return Done(
        first_no=first_no,
        last_no=number,
        subject=circuit.id,
        code="flow-off",
        facts={"number": circuit.number, "run": run.number, "run_id": str(run.id)},
        disputed=claim.disputed,
        cautions=noted,
    )


def _end_run(asked: EndRun, session: Session, site: Site) -> Done:
    run = session.get(Run, (site.id, asked.run_id), with_for_update=True)
    if run is None:
        raise UnknownCode(what="run", value=str(asked.run_id))
    if run.ended_at is not None:
        raise WrongMoment(moment=asked.at, limit=run.ended_at, side="run-ended")
    rows = select(CircuitOnRun).filter_by(
        site_id=site.id, run_id=run.id, valid_to=None, superseded_no=None
    )
    still_on = list(session.scalars(rows.order_by(CircuitOnRun.recorded_no)))
    since = max((claim.flow_from or claim.valid_from for claim in still_on), default=run.begun_at)
    if is_before(asked.at, since):
        raise WrongMoment(moment=asked.at, limit=since, side="before-flow-on")
    ledger = ledger_of(asked, session, site)
    first_no = ledger.next_no
    at, noted = believed_moment(asked.at, now=ledger.now, not_before=since)
    # By circuit, whether all that ties it to this run is disputed.
    circuits: dict[UUID, bool] = {}
    for claim in still_on:
        circuits[claim.circuit_id] = circuits.get(claim.circuit_id, True) and claim.disputed
    for circuit_id, disputed in circuits.items():
        body = {
            "circuit": circuit_id,
            "run": run.id,
            "disputed": disputed,
            "manner": Manner.PLANNED,
        }
        ledger.append(Kind.FLOW_OFF, body, happened_at=at)
    body = {"run": run.id, "device_at": asked.at, "cautions": noted}
    number = ledger.append(Kind.RUN_ENDED, body, happened_at=at)
    return Done(
        first_no=first_no,
        last_no=number,
        subject=run.id,
        code="run-ended",
        facts={"run": run.number},
        cautions=noted,
    )
