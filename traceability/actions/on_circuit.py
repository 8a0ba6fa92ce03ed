"""What acts on one circuit have in common: finding and locking it, and saying what they did."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Protocol
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.actions.once import Asked, Done, Sent, Site, entered, ledger_of
from traceability.domain.circuits import Phase
from traceability.domain.events import Kind, Plain
from traceability.domain.moments import believed_moment
from traceability.domain.people import Right
from traceability.domain.sheets import Sheet
from traceability.errors import CautionsFirst, NotAllowed, UnknownCode, WrongState
from traceability.security.roles import rights_of_person
from traceability.storage.circuits import Circuit, CircuitPhase
from traceability.storage.lookup import locked_circuit, phase_of, sheet_of
from traceability.storage.runs import Run


def the_circuit(session: Session, site: Site, circuit_id: UUID) -> Circuit:
    """Return the circuit, locked.

    Raises:
        UnknownCode: there is none. Nothing was written.
    """
    circuit = locked_circuit(session, site.id, circuit_id)
    if circuit is None:
        raise UnknownCode(what="circuit", value=str(circuit_id))
    return circuit


def priming_since(session: Session, circuit: Circuit, act: str) -> CircuitPhase:
    """Return the phase of a circuit that is being primed.

    Raises:
        WrongState: it is not, or no longer; `act` is what was asked. Nothing was written.
    """
    phase = phase_of(session, circuit)
    if phase.phase != Phase.PRIMING:
        raise WrongState(number=circuit.number, state=phase.phase, act=act)
    return phase


def the_sheet(session: Session, circuit: Circuit) -> Sheet:
    """Return the version of the sheet that the circuit is primed with.

    Raises:
        UnknownCode: there is none. Nothing was written.
    """
    sheet = sheet_of(session, circuit.site_id, circuit.circuit_type, circuit.sheet_version)
    if sheet is None:
        raise UnknownCode(what="circuit type", value=circuit.circuit_type)
    return sheet


class GoesPast(Protocol):
    """What is asked where a person may go on past cautions."""

    @property
    def sent(self) -> Sent:
        """By which device, and who is signed in there."""

    @property
    def reason(self) -> str:
        """Code of the reason; empty: the cautions are shown first."""

    @property
    def by(self) -> UUID | None:
        """Who goes on, told by their badge; None: who is signed in."""


def require_goes_past(
    asked: GoesPast, session: Session, on: Circuit | Run, cautions: Sequence[str], right: Right
) -> None:
    """Let a person with the right go on past the cautions, with a reason.

    Raises:
        CautionsFirst: no reason was given. NotAllowed: they do not hold the right.
    """
    if not asked.reason:
        raise CautionsFirst(number=on.number, cautions=list(cautions), right=right)
    person_id = asked.by or asked.sent.actor_id
    if right not in rights_of_person(session, on.site_id, person_id):
        raise NotAllowed(right=right, person="")


def one_act(
    asked: Asked,
    session: Session,
    site: Site,
    kind: Kind,
    circuit: Circuit,
    at: datetime,
    body: Mapping[str, object],
    *,
    not_before: datetime | None = None,
    facts: Mapping[str, Plain] | None = None,
) -> Done:
    """Append one event about the circuit at the moment believed; its kind is the answer's code."""
    ledger = ledger_of(asked, session, site)
    believed, noted = believed_moment(at, now=ledger.now, not_before=not_before)
    return entered(
        ledger,
        kind,
        {"circuit": circuit.id, **body, "device_at": at, "cautions": noted},
        at=believed,
        subject=circuit.id,
        facts={"number": circuit.number, **(facts or {})},
    )
