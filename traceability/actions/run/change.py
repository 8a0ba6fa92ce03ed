"""Change a whole circuit within a run: old one off, new one on, in one act."""

from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.actions.on_circuit import the_circuit
from traceability.actions.once import Asked, Done, Site, answer_once
from traceability.actions.run.flow import FlowOff, FlowOn, record_flow_off, record_flow_on
from traceability.actions.run.take import TakeCircuit, record_take
from traceability.domain.moments import Manner
from traceability.domain.people import Right
from traceability.errors import UnknownCode, WrongMoment
from traceability.storage.lookup import circuit_by_number


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeOut(Asked):
    """Old circuit off, new one on, within one run; the time between is kept."""

    kind: ClassVar[str] = "change-out"
    right: ClassVar[Right | None] = Right.ACT
    old_circuit_id: UUID
    run_id: UUID
    new_number: str
    off_at: datetime
    on_at: datetime
    manner: Manner = Manner.PLANNED
    reason: str = ""
    by: UUID | None = None
    """Who goes on past what speaks against the new circuit; None: who is signed in."""


def change_out(asked: ChangeOut, *, site: Site) -> Done:
    """Take the new circuit for the run, take the old one off, and let flow on: all or nothing.

    Raises:
        what `take_circuit`, `flow_off` and `flow_on` raise for planned acts. Nothing was written.
    """
    return answer_once(asked, _change, site)


def _change(asked: ChangeOut, session: Session, site: Site) -> Done:
    if asked.on_at < asked.off_at:
        raise WrongMoment(moment=asked.on_at, limit=asked.off_at, side="before-off")
    new = circuit_by_number(session, site.id, asked.new_number)
    # Both rows are locked before the ledger's head, in one order for everybody.
    both = {asked.old_circuit_id} | ({new.id} if new else set())
    for circuit_id in sorted(both):
        the_circuit(session, site, circuit_id)
    taken = record_take(
        TakeCircuit(
            sent=asked.sent,
            number=asked.new_number,
            at=asked.off_at,
            manner=asked.manner,
            run_id=asked.run_id,
            reason=asked.reason,
            by=asked.by,
        ),
        session,
        site,
    )
    if taken.subject is None:
        raise UnknownCode(what="circuit", value=asked.new_number)
    off = FlowOff(
        sent=asked.sent,
        circuit_id=asked.old_circuit_id,
        run_id=asked.run_id,
        at=asked.off_at,
        manner=Manner.PLANNED,
    )
    record_flow_off(off, session, site)
    on = FlowOn(
        sent=asked.sent,
        circuit_id=taken.subject,
        run_id=asked.run_id,
        at=asked.on_at,
        manner=Manner.PLANNED,
    )
    done = record_flow_on(on, session, site)
    return Done(
        first_no=taken.first_no,
        last_no=done.last_no,
        subject=taken.subject,
        code="changed",
        facts={"number": asked.new_number},
        disputed=taken.disputed,
        cautions=tuple(dict.fromkeys((*taken.cautions, *done.cautions))),
    )
