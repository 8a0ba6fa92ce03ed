"""A circuit is kept for inspection, and passed on from keeper to keeper: a chain of custody."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar, Final
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.actions.on_circuit import the_circuit
from traceability.actions.on_run import moment_within
from traceability.actions.once import Asked, Done, Site, answer_once, entered, ledger_of
from traceability.domain.at_the_run import CUSTODY_REASONS
from traceability.domain.circuits import Phase
from traceability.domain.events import Kind
from traceability.domain.moments import Manner
from traceability.domain.people import Right
from traceability.errors import BadValue, UnknownCode, WrongState
from traceability.storage.circuits import Circuit
from traceability.storage.kept_apart import keep_apart
from traceability.storage.lookup import phase_of
from traceability.storage.run_extras import Custody
from traceability.storage.site import Place

LONGEST_KEEPER: Final = 200
FROM: Final = (Phase.PRIMING, Phase.PRIMED, Phase.ENDED)
"""Phases in which a circuit can be put aside: nobody is connected to it, or about to be."""


@dataclass(frozen=True, slots=True, kw_only=True)
class KeepForInspection(Asked):
    """Neither used nor thrown away: somebody has to look at it."""

    kind: ClassVar[str] = "keep-for-inspection"
    right: ClassVar[Right | None] = Right.ACT
    circuit_id: UUID
    place_id: UUID | None
    at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class PassCustody(Asked):
    """Somebody else keeps it from now on."""

    kind: ClassVar[str] = "pass-custody"
    right: ClassVar[Right | None] = Right.ACT
    circuit_id: UUID
    to: str
    """Who, as people say it; kept apart, since it may name a person."""
    reason: str
    at: datetime


def keep_for_inspection(asked: KeepForInspection, *, site: Site) -> Done:
    """Record where it is kept.

    Raises:
        UnknownCode: no such circuit or place. WrongState: it is on a patient, taken, or gone.
        WrongMoment: before it came off, or in the future. Nothing was written.
    """
    return answer_once(asked, _keep, site)


def pass_custody(asked: PassCustody, *, site: Site) -> Done:
    """Record who keeps it now; every keeper before stays on record.

    Raises:
        UnknownCode: no such circuit. WrongState: it is not kept for inspection. BadValue: nobody
        named, or no such reason. WrongMoment: before the keeper before had it. Nothing was written.
    """
    return answer_once(asked, _pass, site)


def _keep(asked: KeepForInspection, session: Session, site: Site) -> Done:
    circuit = the_circuit(session, site, asked.circuit_id)
    if asked.place_id is not None and session.get(Place, (site.id, asked.place_id)) is None:
        raise UnknownCode(what="place", value=str(asked.place_id))
    phase = phase_of(session, circuit)
    if phase.phase not in FROM:
        raise WrongState(number=circuit.number, state=phase.phase, act="keep")
    body = {"place": asked.place_id}
    return _act(asked, session, site, Kind.KEPT_FOR_INSPECTION, circuit, body, phase.valid_from)


def _pass(asked: PassCustody, session: Session, site: Site) -> Done:
    circuit = the_circuit(session, site, asked.circuit_id)
    keeper = asked.to.strip()
    if not keeper:
        raise BadValue(field="who keeps it now", value="", why="empty")
    if len(keeper) > LONGEST_KEEPER:
        raise BadValue(field="who keeps it now", value="", why="too-long")
    if asked.reason not in CUSTODY_REASONS:
        raise BadValue(field="reason", value=asked.reason, why="not-one-of", of=CUSTODY_REASONS)
    phase = phase_of(session, circuit)
    if phase.phase != Phase.KEPT:
        raise WrongState(number=circuit.number, state=phase.phase, act="custody")
    stands = select(Custody.valid_from).filter_by(
        site_id=site.id, circuit_id=circuit.id, valid_to=None, superseded_no=None
    )
    since = session.scalars(stands).one()
    body = {"to": [keep_apart(session, keeper, at=asked.at)], "reason": asked.reason}
    return _act(asked, session, site, Kind.CUSTODY_PASSED, circuit, body, since)


def _act(
    asked: KeepForInspection | PassCustody,
    session: Session,
    site: Site,
    kind: Kind,
    circuit: Circuit,
    body: Mapping[str, object],
    since: datetime,
) -> Done:
    ledger = ledger_of(asked, session, site)
    at, noted = moment_within(
        asked.at, Manner.PLANNED, now=ledger.now, since=since, since_side="before-that"
    )
    return entered(
        ledger,
        kind,
        {"circuit": circuit.id, **body, "device_at": asked.at, "cautions": noted},
        at=at,
        subject=circuit.id,
        facts={"number": circuit.number},
    )
