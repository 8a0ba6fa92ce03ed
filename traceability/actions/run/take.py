"""Take a circuit: one scan of its tag, by anyone, at an enrolled device. Never blocked.

Taken is not flow on: the circuit leaves the shelf, and the patient counts as possibly exposed;
*flow on* is a second act. A patient may be dying while this runs: only a planned take may be
refused, and then with a way on.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.actions.on_circuit import require_goes_past
from traceability.actions.once import Asked, Done, Site, answer_once, ledger_of
from traceability.domain.circuits import cautions_for_use
from traceability.domain.events import Kind, Plain
from traceability.domain.moments import Manner, believed_moment
from traceability.domain.people import Right
from traceability.errors import (
    AlreadyOnRun,
    UnknownCode,
    WrongMoment,
    WrongState,
)
from traceability.storage.circuits import Circuit
from traceability.storage.down_time import is_on_paper
from traceability.storage.kept_apart import keep_apart, uuid7
from traceability.storage.ledger import OpenLedger
from traceability.storage.lookup import (
    circuit_by_number,
    locked_circuit,
    next_number,
    phase_of,
    prime_of,
    standing_of,
)
from traceability.storage.moves import contents_known
from traceability.storage.runs import CircuitOnRun, Run


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeCircuit(Asked):
    """The circuit is taken for a patient, now or some time ago."""

    kind: ClassVar[str] = "take-circuit"
    right: ClassVar[Right | None] = None
    number: str
    """The circuit's number as read from its tag; with UNKNOWN_TAG the text in `tag_text`."""
    at: datetime
    manner: Manner
    run_id: UUID | None = None
    """A run that goes on (circuit change); None: a new run begins."""
    tag_text: str = ""
    """What was scanned, where it is no tag of ours."""
    reason: str = ""
    by: UUID | None = None
    """Who goes on past cautions, told by their badge; None: who is signed in."""


def take_circuit(asked: TakeCircuit, *, site: Site) -> Done:
    """Record *taken*. What speaks against it is recorded and shown.

    Raises:
        CautionsFirst, AlreadyOnRun, UnknownCode, NotAllowed, WrongState, WrongMoment: planned
        takes only; nothing was written. DeviceNotEnrolled: nobody is signed in at a device that
        is not known.
    """
    return answer_once(asked, record_take, site)


def record_take(asked: TakeCircuit, session: Session, site: Site) -> Done:
    """Record the take in the transaction that is open; see `take_circuit`."""
    found = circuit_by_number(session, site.id, asked.number) if asked.number else None
    circuit = locked_circuit(session, site.id, found.id) if found else None
    if circuit is None and asked.manner.refusable:
        raise UnknownCode(what="circuit", value=asked.number or asked.tag_text)
    holder = holder_of(session, circuit) if circuit else None
    ledger = ledger_of(asked, session, site)
    first_no = ledger.next_no
    not_before = _earliest(session, circuit, holder) if circuit else None
    at, noted = believed_moment(asked.at, now=ledger.now, not_before=not_before)
    run = _run(asked, session, site)
    has_ended = run is not None and run.ended_at is not None and run.ended_at <= at
    if run is not None and has_ended and asked.manner.refusable:
        raise WrongMoment(moment=asked.at, limit=run.ended_at, side="run-ended")
    cautions = _cautions(circuit, at, session) + (("run-has-ended",) if has_ended else ())
    if circuit is not None and asked.manner.refusable:
        _refuse_planned(asked, circuit, holder, cautions, session, site)
    circuit = circuit or _without_record(asked, ledger, site, at)
    new_number = None if run else next_number(session, site.id, "R")
    run_id = run.id if run else uuid7(ledger.now)
    disputed = holder is not None
    body = {
        "circuit": circuit.id,
        "run": run_id,
        "number": new_number,
        "manner": asked.manner,
        "disputed": disputed,
        "by": asked.by or asked.sent.actor_id,
        "reason": asked.reason,
        "device_at": asked.at,
        "cautions": [*noted, *cautions],
    }
    number = ledger.append(Kind.CIRCUIT_TAKEN, body, happened_at=at)
    run_number = run.number if run else new_number
    return Done(
        first_no=first_no,
        last_no=number,
        subject=circuit.id,
        code="taken",
        facts={
            "number": circuit.number,
            "run": run_number,
            "run_id": str(run_id),
            **_use_by(session, circuit),
        },
        disputed=disputed,
        cautions=(*noted, *cautions),
    )


def _use_by(session: Session, circuit: Circuit) -> dict[str, Plain]:
    prime = prime_of(session, circuit)
    return {"use_by": prime.use_by.isoformat() if prime else None}


def holder_of(session: Session, circuit: Circuit) -> CircuitOnRun | None:
    """Return the claim on the circuit that stands, or None."""
    rows = select(CircuitOnRun).filter_by(
        site_id=circuit.site_id,
        circuit_id=circuit.id,
        valid_to=None,
        superseded_no=None,
        disputed=False,
    )
    return session.scalar(rows)


def _earliest(session: Session, circuit: Circuit, holder: CircuitOnRun | None) -> datetime:
    """Return before when it cannot have been taken, whatever two devices' clocks say.

    Not before its prime ended: a part that was in would seem to have come later than the patient.
    Nor before it was back from the run before. A second claim may begin while the first stands.
    """
    if holder is None:
        return phase_of(session, circuit).valid_from
    prime = prime_of(session, circuit)
    return prime.valid_from if prime else circuit.begun_at


def _cautions(circuit: Circuit | None, at: datetime, session: Session) -> tuple[str, ...]:
    if circuit is None:
        return ("contents-not-recorded",)
    return cautions_for_use(
        standing_of(session, circuit),
        contents_recorded=circuit.contents == "recorded",
        listed=contents_known(session, circuit),
        at=at,
    )


MILD = frozenset({"contents-not-recorded"})
"""Said, but no reason to stop a planned take: the unit knows a foreign circuit when it sees one."""

GONE = frozenset({"not-primed", "discarded", "kept-for-inspection", "was-used"})
"""No reason makes such a circuit one to plan with."""

BY_CONSULTANT = frozenset({"on-hold", "not-right"})


def _refuse_planned(
    asked: TakeCircuit,
    circuit: Circuit,
    holder: CircuitOnRun | None,
    cautions: tuple[str, ...],
    session: Session,
    site: Site,
) -> None:
    if holder is not None:
        run = session.get_one(Run, (site.id, holder.run_id))
        raise AlreadyOnRun(number=circuit.number, run=run.number, since=holder.valid_from)
    grave = [code for code in cautions if code not in MILD]
    if not GONE.isdisjoint(grave):
        raise WrongState(number=circuit.number, state=phase_of(session, circuit).phase, act="take")
    if not grave:
        return
    right = Right.PAST_STOP if BY_CONSULTANT & set(grave) else Right.PAST_DATE
    require_goes_past(asked, session, circuit, grave, right)


def _without_record(asked: TakeCircuit, ledger: OpenLedger, site: Site, at: datetime) -> Circuit:
    circuit_id, number = uuid7(ledger.now), asked.number.upper()
    if not (number and is_on_paper(ledger.session, site.id, number)):
        number = next_number(ledger.session, site.id, "X")
    text = asked.tag_text or asked.number
    body = {
        "circuit": circuit_id,
        "number": number,
        "tag": [keep_apart(ledger.session, text, at=ledger.now)] if text else [],
        "place": None,
    }
    ledger.append(Kind.CIRCUIT_WITHOUT_RECORD, body, happened_at=at)
    return ledger.session.get_one(Circuit, (site.id, circuit_id))


def _run(asked: TakeCircuit, session: Session, site: Site) -> Run | None:
    if asked.run_id is None:
        return None
    run = session.get(Run, (site.id, asked.run_id))
    if run is None and asked.manner.refusable:
        raise UnknownCode(what="run", value=str(asked.run_id))
    return run
