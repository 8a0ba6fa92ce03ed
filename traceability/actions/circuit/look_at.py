"""Look at a circuit on the shelf: seal, clamps, level, connections; good or not."""

from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.actions.on_circuit import one_act, the_circuit
from traceability.actions.once import Asked, Done, Site, answer_once
from traceability.domain.circuits import Phase
from traceability.domain.events import Kind
from traceability.domain.people import Right
from traceability.domain.shelf_checks import Finding
from traceability.errors import BadValue, WrongState
from traceability.storage.lookup import phase_of


@dataclass(frozen=True, slots=True, kw_only=True)
class LookAt(Asked):
    """Somebody signed in looked at the circuit where it stands."""

    kind: ClassVar[str] = "look-at"
    right: ClassVar[Right | None] = Right.ACT
    circuit_id: UUID
    findings: tuple[str, ...]
    """What was not right; empty: all is as it should be."""
    at: datetime


def look_at(asked: LookAt, *, site: Site) -> Done:
    """Record the look; one that found something keeps the circuit from counting as ready.

    Raises:
        WrongState: it does not stand primed. BadValue: no such finding. Nothing was written.
    """
    return answer_once(asked, _look, site)


def _look(asked: LookAt, session: Session, site: Site) -> Done:
    circuit = the_circuit(session, site, asked.circuit_id)
    known = [each.value for each in Finding]
    for each in asked.findings:
        if each not in known:
            raise BadValue(field="finding", value=each, why="not-one-of", of=known)
    phase = phase_of(session, circuit)
    if phase.phase != Phase.PRIMED:
        raise WrongState(number=circuit.number, state=phase.phase, act="check")
    found = [each for each in known if each in asked.findings]
    return one_act(
        asked,
        session,
        site,
        Kind.SHELF_CHECKED,
        circuit,
        asked.at,
        {"findings": found, "good": not found},
        not_before=phase.valid_from,
        facts={"good": not found},
    )
