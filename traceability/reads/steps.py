"""The procedure's steps as pages and papers need them: the unit's lists, and those of one prime."""

import json
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from traceability.domain.step_lists import read_list
from traceability.domain.steps import (
    Fills,
    ReadingSaid,
    Step,
    StepList,
    StepSaid,
    StepState,
    filled,
)
from traceability.storage.circuits import Circuit
from traceability.storage.ledger import LedgerEvent
from traceability.storage.lookup import circuit_by_number
from traceability.storage.people import Device, Person
from traceability.storage.steps import PrimeSteps, StepListVersion, StepRow, list_of, said_of


@dataclass(frozen=True, slots=True, kw_only=True)
class StepFacts:
    """One step of a prime, and what stands of it."""

    step: Step
    place: int
    """Its place in the list of this prime, from 1."""
    said: StepSaid | None
    who: str = ""
    other: str = ""

    @property
    def is_open(self) -> bool:
        """Whether it is neither done nor said to be not done."""
        return self.said is None or not self.said.is_closed


@dataclass(frozen=True, slots=True, kw_only=True)
class StepsFacts:
    """The steps of one prime, in order; none where its way of priming had no list."""

    way: str = ""
    version: int = 0
    steps: tuple[StepFacts, ...] = ()

    @property
    def open(self) -> tuple[StepFacts, ...]:
        """What is still to be said."""
        return tuple(each for each in self.steps if each.is_open)

    @property
    def next(self) -> StepFacts | None:
        """The step that is asked for."""
        return next(iter(self.open), None)

    def of(self, step_id: str) -> StepFacts | None:
        """Return the step of that short name."""
        return next((each for each in self.steps if each.step.id == step_id), None)

    @property
    def fill_ml(self) -> int | None:
        """Millilitres filled, as a reading says; None: none does."""
        return self._filled(Fills.FILL)

    @property
    def co2_ml_min(self) -> int | None:
        """Millilitres a minute of CO2, as a reading says; None: none does."""
        return self._filled(Fills.CO2)

    def _filled(self, what: Fills) -> int | None:
        said = {each.step.id: each.said for each in self.steps if each.said is not None}
        return filled([each.step for each in self.steps], said, what)


NO_STEPS = StepsFacts()


def steps_facts(session: Session, circuit: Circuit, as_of_no: int | None = None) -> StepsFacts:
    """Return the steps of a prime and what stands of each, now or as of a ledger number."""
    steps = list_of(session, circuit)
    if steps is None:
        return NO_STEPS
    said = said_of(session, circuit, as_of_no)
    ids = {each for row in said.values() for each in (row.by_id, row.other_id) if each}
    names = _names(session, circuit.site_id, ids)
    return StepsFacts(
        way=steps.way,
        version=steps.version,
        steps=tuple(
            _facts(step, place, said.get(step.id), names)
            for place, step in enumerate(steps.for_type(circuit.circuit_type), start=1)
        ),
    )


def steps_by_number(
    session: Session, site_id: UUID, number: str, as_of_no: int | None = None
) -> StepsFacts:
    """Return the steps of the circuit of that number; none where there is none."""
    circuit = circuit_by_number(session, site_id, number)
    return NO_STEPS if circuit is None else steps_facts(session, circuit, as_of_no)


def _facts(step: Step, place: int, said: StepSaid | None, names: dict[UUID, str]) -> StepFacts:
    by_id, other_id = (said.by_id, said.other_id) if said else (None, None)
    return StepFacts(
        step=step,
        place=place,
        said=said,
        who=names.get(by_id, "") if by_id else "",
        other=names.get(other_id, "") if other_id else "",
    )


def _names(session: Session, site_id: UUID, ids: set[UUID]) -> dict[UUID, str]:
    if not ids:
        return {}
    rows = select(Person.id, Person.name).where(Person.site_id == site_id, Person.id.in_(ids))
    return {row.id: row.name for row in session.execute(rows)}


@dataclass(frozen=True, slots=True, kw_only=True)
class SaidBefore:
    """What was said of a step and is no longer believed: said anew, or taken back."""

    step: str
    state: str
    reason: str
    readings: tuple[str, ...]
    at: datetime
    who: str
    device: str
    number: int
    superseded_no: int


def said_before(session: Session, site_id: UUID, circuit_id: UUID) -> list[SaidBefore]:
    """Return what of a prime's steps no longer stands, oldest first."""
    rows = (
        select(StepRow, LedgerEvent.device_id)
        .join(
            LedgerEvent,
            (LedgerEvent.site_id == StepRow.site_id) & (LedgerEvent.number == StepRow.recorded_no),
        )
        .where(
            StepRow.site_id == site_id,
            StepRow.circuit_id == circuit_id,
        )
        .order_by(StepRow.recorded_no, StepRow.line)
    )
    # What undo brought back has several rows: the newest says whether it stands.
    newest = {row.said_no: (row, device_id) for row, device_id in session.execute(rows)}
    over = {(row.step, row.begun_at) for row, _ in newest.values() if row.state != StepState.BEGUN}
    found = [
        (row, device_id)
        for row, device_id in newest.values()
        # That a step was under way is no other word than that it is done.
        if row.superseded_no is not None
        and (row.state != StepState.BEGUN or (row.step, row.begun_at) not in over)
    ]
    names = _names(session, site_id, {row.by_id for row, _ in found if row.by_id})
    return [
        SaidBefore(
            step=row.step,
            state=row.state,
            reason=row.reason,
            readings=tuple(ReadingSaid(**each).words for each in json.loads(row.readings)),
            at=row.valid_from,
            who=names.get(row.by_id, "") if row.by_id else "",
            device=_device(session, site_id, device_id),
            number=row.said_no,
            superseded_no=row.superseded_no or 0,
        )
        for row, device_id in found
    ]


def _device(session: Session, site_id: UUID, device_id: UUID) -> str:
    device = session.get(Device, (site_id, device_id))
    return device.name if device else ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ListFacts:
    """One version of a list."""

    steps: StepList
    set_at: datetime
    entry: int
    who: str
    primes: int
    """How many primes were begun with it."""


def step_lists(session: Session, site_id: UUID) -> list[ListFacts]:
    """Return all versions of all lists, way by way, newest first."""
    rows = (
        select(StepListVersion, LedgerEvent.actor_id)
        .join(
            LedgerEvent,
            (LedgerEvent.site_id == StepListVersion.site_id)
            & (LedgerEvent.number == StepListVersion.recorded_no),
        )
        .where(StepListVersion.site_id == site_id)
        .order_by(StepListVersion.way, StepListVersion.version.desc())
    )
    found = session.execute(rows).all()
    names = _names(session, site_id, {actor for _, actor in found if actor})
    counted = (
        select(PrimeSteps.way, PrimeSteps.version, func.count())
        .filter_by(site_id=site_id)
        .group_by(PrimeSteps.way, PrimeSteps.version)
    )
    used = {(way, version): count for way, version, count in session.execute(counted)}
    return [
        ListFacts(
            steps=read_list(json.loads(row.body)),
            set_at=row.set_at,
            entry=row.recorded_no,
            who=names.get(actor, "") if actor else "",
            primes=used.get((row.way, row.version), 0),
        )
        for row, actor in found
    ]
