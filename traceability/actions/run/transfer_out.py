"""A circuit leaves for another hospital, with its patient or without; its contents go with it.

What was in it stays ours to report. From the hand-over on it is beyond our record.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar, Final
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.actions.on_circuit import the_circuit
from traceability.actions.once import Asked, Done, Site, answer_once, ledger_of
from traceability.actions.run.flow import FlowOff, record_flow_off
from traceability.domain.circuits import Phase
from traceability.domain.contents_file import digest_of
from traceability.domain.events import Kind, Plain
from traceability.domain.moments import Manner, believed_moment, is_before
from traceability.domain.people import Right
from traceability.errors import BadValue, WrongMoment, WrongState
from traceability.storage.circuits import Circuit
from traceability.storage.contents import contents_of
from traceability.storage.kept_apart import keep_apart
from traceability.storage.lookup import phase_of
from traceability.storage.runs import CircuitOnRun, Run

LONGEST_TO: Final = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class TransferOut(Asked):
    """The circuit goes to another hospital."""

    kind: ClassVar[str] = "transfer-out"
    right: ClassVar[Right | None] = Right.ACT
    circuit_id: UUID
    to: str
    """Hospital and unit, as entered; free text, so it is kept apart. May be empty."""
    at: datetime


def transfer_out(asked: TransferOut, *, site: Site) -> Done:
    """Record the hand-over; a run that the circuit was on ends here with it.

    The answer's facts carry the digest of the contents handed over.

    Raises:
        WrongState: it is being primed, has left already, or is over. WrongMoment: before flow on,
        or before it was taken. BadValue: a text too long. Nothing was written.
    """
    return answer_once(asked, _transfer, site)


def _transfer(asked: TransferOut, session: Session, site: Site) -> Done:
    circuit = the_circuit(session, site, asked.circuit_id)
    to = asked.to.strip()
    if len(to) > LONGEST_TO:
        raise BadValue(field="where to", value="", why="too-long")
    phase = phase_of(session, circuit)
    if phase.phase not in {Phase.PRIMED, Phase.TAKEN, Phase.ON_PATIENT}:
        raise WrongState(number=circuit.number, state=phase.phase, act="transfer-out")
    claim = _claim(session, circuit)
    if claim is None and is_before(asked.at, phase.valid_from):
        raise WrongMoment(moment=asked.at, limit=phase.valid_from, side="before-here")
    digest = digest_of(contents_of(session, circuit))
    off = None
    if claim is not None:
        off = record_flow_off(
            FlowOff(
                sent=asked.sent,
                circuit_id=circuit.id,
                at=asked.at,
                manner=Manner.PLANNED,
                run_id=claim.run_id,
                transferred=True,
            ),
            session,
            site,
        )
    ledger = ledger_of(asked, session, site)
    at, noted = believed_moment(
        asked.at, now=ledger.now, not_before=phase_of(session, circuit).valid_from
    )
    body = {
        "circuit": circuit.id,
        "run": claim and claim.run_id,
        "to": [keep_apart(session, to, at=ledger.now)] if to else [],
        "file_digest": digest,
        "device_at": asked.at,
        "cautions": noted,
    }
    number = ledger.append(Kind.TRANSFERRED_OUT, body, happened_at=at)
    run = session.get_one(Run, (site.id, claim.run_id)) if claim else None
    facts: dict[str, Plain] = {"number": circuit.number, "digest": digest}
    return Done(
        first_no=off.first_no if off else number,
        last_no=number,
        subject=circuit.id,
        code="transferred-out",
        facts={**facts, "run": run.number if run else None},
        disputed=off.disputed if off else False,
        cautions=noted,
    )


def _claim(session: Session, circuit: Circuit) -> CircuitOnRun | None:
    """Return the claim that stands, else one that is disputed."""
    rows = select(CircuitOnRun).filter_by(
        site_id=circuit.site_id, circuit_id=circuit.id, valid_to=None, superseded_no=None
    )
    order = rows.order_by(CircuitOnRun.disputed, CircuitOnRun.recorded_no)
    return session.scalar(order.limit(1))
