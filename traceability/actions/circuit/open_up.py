"""A closed circuit was opened while it stood ready: its use-by counts from the opening as well."""

import json
from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.actions.on_circuit import one_act, the_circuit
from traceability.actions.once import Asked, Done, Site, answer_once, ledger_of
from traceability.actions.prime.end import use_by_facts
from traceability.domain.circuits import Phase
from traceability.domain.events import Kind
from traceability.domain.moments import believed_moment
from traceability.domain.people import Right
from traceability.domain.use_by import Limit, Reason, Way, opened_later
from traceability.errors import WrongState
from traceability.storage.circuits import Circuit, Prime
from traceability.storage.lookup import moment_text, phase_of, prime_of, sheet_of
from traceability.storage.policies import limits_of
from traceability.storage.shelf_lookup import way_of


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenUp(Asked):
    """It was opened, and stays ready for the shorter time."""

    kind: ClassVar[str] = "open-up"
    right: ClassVar[Right | None] = Right.ACT
    circuit_id: UUID
    at: datetime


def open_up(asked: OpenUp, *, site: Site) -> Done:
    """Record the opening and the use-by that follows; the facts carry it. Print the tag anew.

    Raises:
        WrongState: it does not stand primed, wet and closed. Nothing was written.
    """
    return answer_once(asked, _open, site)


def _open(asked: OpenUp, session: Session, site: Site) -> Done:
    circuit = the_circuit(session, site, asked.circuit_id)
    phase, prime = phase_of(session, circuit), prime_of(session, circuit)
    if prime is None or phase.phase != Phase.PRIMED or _way(session, circuit) != Way.WET_CLOSED:
        raise WrongState(number=circuit.number, state=phase.phase, act="open")
    at, _ = believed_moment(
        asked.at, now=ledger_of(asked, session, site).now, not_before=phase.valid_from
    )
    limits = limits_of(session, site.id, prime.policy_version)
    use_by = opened_later(_standing(prime), at, site.zone, limits)
    facts = use_by_facts(use_by)
    return one_act(
        asked,
        session,
        site,
        Kind.CIRCUIT_OPENED,
        circuit,
        asked.at,
        {
            "way": Way.WET_OPEN,
            "use_by": use_by.at,
            "decides": facts["decides"],
            "comes_next": facts["comes_next"],
            "policy_version": prime.policy_version,
        },
        not_before=phase.valid_from,
        facts={"use_by": moment_text(use_by.at)},
    )


def _way(session: Session, circuit: Circuit) -> str:
    recorded = way_of(session, circuit)
    if recorded is not None:
        return recorded.way
    sheet = sheet_of(session, circuit.site_id, circuit.circuit_type, circuit.sheet_version)
    return sheet.way if sheet is not None else ""


def _standing(prime: Prime) -> list[Reason]:
    """Return the limits that are stored with the prime: the two earliest."""
    found = [json.loads(prime.decides), json.loads(prime.comes_next)]
    return [
        Reason(
            code=Limit(limit["code"]),
            at=datetime.fromisoformat(limit["at"]),
            facts={name: value for name, value in limit.items() if name not in {"code", "at"}},
        )
        for limit in found
        if limit is not None
    ]
