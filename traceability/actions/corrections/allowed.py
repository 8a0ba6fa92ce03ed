"""Who may set an entry right, and to what; each refusal names the way that is open instead.

By our decision (common practice, no source): who rules (a charge consultant) may set right
everything. Voids, times and runs are theirs alone, since they move exposure. Everybody else sets
right what they entered themselves: what a part, its lot, serial and expiry were. The patient of a
run is for everyone who may set one, as it is the first time.
"""

from collections.abc import Set as AbstractSet
from typing import Final

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.domain.corrections import OF_PART, WORDS
from traceability.domain.events import Kind, Recorded
from traceability.domain.people import Right
from traceability.errors import CannotCorrect, NotYoursToCorrect
from traceability.security.roles import rights_of_person, service_device
from traceability.storage.circuits import Circuit
from traceability.storage.entries import now_said
from traceability.storage.ledger import Sent
from traceability.storage.projections.lives import BEGINS
from traceability.storage.runs import CircuitOnRun, Run

IN_TIME: Final = frozenset(
    {
        Kind.CIRCUIT_TAKEN,
        Kind.FLOW_ON,
        Kind.FLOW_OFF,
        Kind.PART_SWAPPED,
        Kind.PRIME_ENDED,
        Kind.CIRCUIT_MOVED,
        Kind.CIRCUIT_DISCARDED,
        Kind.CAME_BACK_UNUSED,
        Kind.RUN_ENDED,
    }
)
CAN_BE_VOID: Final = (
    (IN_TIME - {Kind.PRIME_ENDED})
    | BEGINS
    | WORDS
    | {Kind.PART_PLACED, Kind.PART_ADDED, Kind.ADDITIVE_GIVEN}
    | {Kind.PRIME_SIGNED, Kind.PATIENT_SET, Kind.PATIENTS_MERGED}
)
"""A prime that has ended is not un-ended: its empty places would say that nothing was in them."""


def require_may(
    session: Session, event: Recorded, sent: Sent, *, by_author: bool, by_anyone: bool
) -> None:
    """Let pass who may set this right.

    Raises:
        NotYoursToCorrect: somebody else may. Nothing was written.
    """
    if by_anyone or sent.device_id == service_device(event.site_id):
        return
    own = event.actor_id is not None and event.actor_id == sent.actor_id
    if own and by_author:
        return
    if Right.RULE not in rights_of_person(session, event.site_id, sent.actor_id):
        raise NotYoursToCorrect


def require_fits(
    event: Recorded, root: Recorded, now: Recorded | None, ways: AbstractSet[str]
) -> None:
    """Refuse to say of an entry what it does not speak of; `root` is what it comes down to.

    Raises:
        CannotCorrect: nothing was written.
    """
    if now is None:
        raise CannotCorrect(why="is-void")
    fitting = {
        "parts": root.kind in OF_PART,
        "time": root.kind in IN_TIME,
        "run": root.kind is Kind.CIRCUIT_TAKEN,
        "patient": root.kind is Kind.PATIENT_SET,
    }
    if event.kind is Kind.CLAIM_RULED or not all(fitting[way] for way in ways):
        raise CannotCorrect(why="not-that", what=event.kind)
    if len(ways) != 1:
        raise CannotCorrect(why="as-it-is")


def require_can_be_void(
    session: Session, event: Recorded, root: Recorded, now: Recorded | None
) -> None:
    """Refuse to void what others stand on, or what is void.

    Raises:
        CannotCorrect: nothing was written.
    """
    if event.kind not in CAN_BE_VOID:
        raise CannotCorrect(why="not-void", what=event.kind)
    if event.kind in WORDS:
        if now_said(session, event) is None:
            raise CannotCorrect(why="is-void")
        return
    if now is None:
        raise CannotCorrect(why="is-void")
    circuit_id = root.key_or_none("circuit")
    circuit = circuit_id and session.get(Circuit, (root.site_id, circuit_id))
    if circuit:
        _require_nothing_stands(session, root, circuit)


def _require_nothing_stands(session: Session, root: Recorded, circuit: Circuit) -> None:
    if root.kind in BEGINS:
        taken = select(CircuitOnRun.run_id).filter_by(
            site_id=root.site_id, circuit_id=circuit.id, superseded_no=None
        )
        run_id = session.scalar(taken.limit(1))
        if run_id is not None:
            run = session.get_one(Run, (root.site_id, run_id))
            raise CannotCorrect(why="was-taken", number=circuit.number, run=run.number)
    if root.kind is Kind.PART_PLACED and circuit.prime_ended_no is not None:
        raise CannotCorrect(why="part-after-end", number=circuit.number)
