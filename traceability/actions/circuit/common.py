"""What acts on one circuit have in common: finding and locking it, and saying what they did."""

from collections.abc import Mapping
from datetime import datetime
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.actions.once import Asked, Done, Site, ledger_of
from traceability.domain.events import Kind, Plain
from traceability.domain.moments import believed_moment
from traceability.errors import UnknownCode
from traceability.storage.circuits import Circuit
from traceability.storage.lookup import locked_circuit


def the_circuit(session: Session, site: Site, circuit_id: UUID) -> Circuit:
    """Return the circuit, locked.

    Raises:
        UnknownCode: there is none. Nothing was written.
    """
    circuit = locked_circuit(session, site.id, circuit_id)
    if circuit is None:
        raise UnknownCode(what="circuit", value=str(circuit_id))
    return circuit


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
    number = ledger.append(
        kind,
        {"circuit": circuit.id, **body, "device_at": at, "cautions": noted},
        happened_at=believed,
    )
    return Done(
        first_no=number,
        last_no=number,
        subject=circuit.id,
        code=kind,
        facts={"number": circuit.number, **(facts or {})},
        cautions=noted,
    )
