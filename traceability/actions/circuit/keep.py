"""What happens to a circuit on the shelf: moved, discarded, its tag ordered."""

from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar, Final
from uuid import UUID

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from traceability.actions.on_circuit import one_act, the_circuit
from traceability.actions.once import Asked, Done, Site, answer_once
from traceability.domain.circuits import Phase
from traceability.domain.events import Kind
from traceability.domain.people import Right
from traceability.errors import BadValue, UnknownCode, WrongState
from traceability.storage.circuits import Circuit, CircuitPlace
from traceability.storage.lookup import is_only_circuit, phase_of
from traceability.storage.runs import CircuitOnRun
from traceability.storage.scans import PrintOrder
from traceability.storage.site import Place

DISCARD_REASONS: Final = (
    "past-use-by",
    "seal-broken",
    "opened",
    "leak",
    "part-not-fitted",
    "prime-stopped",
    "used",
    "recall",
    "other",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class MoveCircuit(Asked):
    """The circuit stands somewhere else now."""

    kind: ClassVar[str] = "move-circuit"
    right: ClassVar[Right | None] = Right.ACT
    circuit_id: UUID
    place_id: UUID
    at: datetime


def move_circuit(asked: MoveCircuit, *, site: Site) -> Done:
    """Record the new place.

    Raises:
        UnknownCode: no such circuit or place. WrongState: it was discarded.
    """
    return answer_once(asked, _move, site)


def _move(asked: MoveCircuit, session: Session, site: Site) -> Done:
    circuit = the_circuit(session, site, asked.circuit_id)
    place = session.get(Place, (site.id, asked.place_id))
    if place is None:
        raise UnknownCode(what="place", value=str(asked.place_id))
    phase = phase_of(session, circuit)
    if phase.phase in {Phase.DISCARDED, Phase.TRANSFERRED_OUT}:
        raise WrongState(number=circuit.number, state=phase.phase, act="move")
    return one_act(
        asked,
        session,
        site,
        Kind.CIRCUIT_MOVED,
        circuit,
        asked.at,
        {"place": place.id},
        not_before=_since(session, circuit),
        facts={"place": place.name},
    )


def _since(session: Session, circuit: Circuit) -> datetime:
    """Return since when it stands where it stands; it cannot have been moved before."""
    rows = select(CircuitPlace.valid_from).filter_by(
        site_id=circuit.site_id, circuit_id=circuit.id, valid_to=None, superseded_no=None
    )
    return session.scalar(rows) or circuit.begun_at


@dataclass(frozen=True, slots=True, kw_only=True)
class DiscardCircuit(Asked):
    """The circuit is thrown away, in whatever state; a prime that was stopped as well."""

    kind: ClassVar[str] = "discard-circuit"
    right: ClassVar[Right | None] = Right.ACT
    circuit_id: UUID
    reason: str
    at: datetime


def discard_circuit(asked: DiscardCircuit, *, site: Site) -> Done:
    """Record the end; what was in it stays on record and in every answer.

    Raises:
        WrongState: blood has flowed and it is still on, or it is gone already. BadValue: no such
        reason.
    """
    return answer_once(asked, _discard, site)


def _discard(asked: DiscardCircuit, session: Session, site: Site) -> Done:
    circuit = the_circuit(session, site, asked.circuit_id)
    if asked.reason not in DISCARD_REASONS:
        raise BadValue(field="reason", value=asked.reason, why="not-one-of", of=DISCARD_REASONS)
    phase = phase_of(session, circuit)
    claims = _open_claims(session, circuit)
    flowed = any(claim.flow_from is not None for claim in claims)
    if flowed or phase.phase in {Phase.DISCARDED, Phase.ON_PATIENT, Phase.TRANSFERRED_OUT}:
        raise WrongState(number=circuit.number, state=phase.phase, act="discard")
    return one_act(
        asked,
        session,
        site,
        Kind.CIRCUIT_DISCARDED,
        circuit,
        asked.at,
        {
            "reason": asked.reason,
            "runs": [{"run": claim.run_id} for claim in claims if is_only_circuit(session, claim)],
        },
        not_before=phase.valid_from,
    )


def _open_claims(session: Session, circuit: Circuit) -> list[CircuitOnRun]:
    rows = select(CircuitOnRun).filter_by(
        site_id=circuit.site_id, circuit_id=circuit.id, valid_to=None, superseded_no=None
    )
    return list(session.scalars(rows.order_by(CircuitOnRun.recorded_no, CircuitOnRun.line)))


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderTag(Asked):
    """Print the circuit tag; from the second time on it is marked as a copy."""

    kind: ClassVar[str] = "order-tag"
    right: ClassVar[Right | None] = Right.ACT
    circuit_id: UUID
    at: datetime


def order_tag(asked: OrderTag, *, site: Site) -> Done:
    """Record the order; the answer's facts carry the copy number, 0 for the first print.

    Raises:
        WrongState: the prime has not ended: the tag comes when it ends.
    """
    return answer_once(asked, _order, site)


def _order(asked: OrderTag, session: Session, site: Site) -> Done:
    circuit = the_circuit(session, site, asked.circuit_id)
    phase = phase_of(session, circuit).phase
    if phase == Phase.PRIMING:
        raise WrongState(number=circuit.number, state=phase, act="tag")
    printed = select(func.count()).select_from(PrintOrder)
    copy = session.scalar(printed.filter_by(site_id=site.id, circuit_id=circuit.id)) or 0
    return one_act(
        asked,
        session,
        site,
        Kind.TAG_ORDERED,
        circuit,
        asked.at,
        {"copy": copy},
        facts={"copy": copy},
    )
