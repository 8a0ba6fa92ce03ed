"""A drill for people: a lot is given, and a clock runs until everybody named has been told.

It holds nothing and writes no hold. Told is what a person entered: this service rings nobody.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.actions.once import Asked, Done, Site, answer_once, ledger_of
from traceability.domain.drills.people import Step, Stopped, all_told
from traceability.domain.events import Kind
from traceability.domain.people import Right, Role
from traceability.errors import BadValue, DrillGoesOn, DrillOver, UnknownCode
from traceability.storage.drills import DrillTarget, PeopleDrill
from traceability.storage.items import Lot
from traceability.storage.people import Person
from traceability.storage.site import Place


@dataclass(frozen=True, slots=True, kw_only=True)
class BeginDrill(Asked):
    """Give this lot, and let the clock run until these have been told."""

    kind: ClassVar[str] = "begin-drill"
    right: ClassVar[Right | None] = Right.DRILL
    lot_id: UUID
    at_random: bool
    people: Sequence[UUID]
    roles: Sequence[str]
    """Names of roles: whoever is on duty with it is told."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TellInDrill(Asked):
    """One of those named has been told."""

    kind: ClassVar[str] = "tell-in-drill"
    right: ClassVar[Right | None] = Right.DRILL
    drill_id: UUID
    line: int


@dataclass(frozen=True, slots=True, kw_only=True)
class StepInDrill(Asked):
    """The answer was found, or the stock was seen; whoever is at the shelf may say so."""

    kind: ClassVar[str] = "step-in-drill"
    right: ClassVar[Right | None] = Right.ACT
    drill_id: UUID
    step: str
    place_id: UUID | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class StopDrill(Asked):
    """End it before everybody was told."""

    kind: ClassVar[str] = "stop-drill"
    right: ClassVar[Right | None] = Right.DRILL
    drill_id: UUID
    reason: str


def begin_drill(asked: BeginDrill, *, site: Site) -> Done:
    """Begin it; the clock runs from the moment that the act is recorded.

    Raises:
        UnknownCode: no such lot or person. BadValue: nobody is named, or no such role.
        DrillGoesOn: another one has not ended. Nothing was written.
    """
    return answer_once(asked, _begin, site)


def tell_in_drill(asked: TellInDrill, *, site: Site) -> Done:
    """Record that somebody was told; told twice, the first time counts. The last one ends it.

    Raises:
        UnknownCode: no such drill, or nobody of that line. DrillOver. Nothing was written.
    """
    return answer_once(asked, _tell, site)


def step_in_drill(asked: StepInDrill, *, site: Site) -> Done:
    """Record a step.

    Raises:
        UnknownCode: no such drill or place. BadValue: no such step. DrillOver. Nothing was written.
    """
    return answer_once(asked, _step, site)


def stop_drill(asked: StopDrill, *, site: Site) -> Done:
    """End the drill; it stands in the history as stopped.

    Raises:
        UnknownCode: no such drill. BadValue: no such reason. DrillOver. Nothing was written.
    """
    return answer_once(asked, _stop, site)


def _begin(asked: BeginDrill, session: Session, site: Site) -> Done:
    lot = session.get(Lot, (site.id, asked.lot_id))
    if lot is None:
        raise UnknownCode(what="lot", value=str(asked.lot_id))
    people, roles = list(dict.fromkeys(asked.people)), list(dict.fromkeys(asked.roles))
    if not people and not roles:
        raise BadValue(field="who must be told", value="", why="empty")
    for person_id in people:
        if session.get(Person, (site.id, person_id)) is None:
            raise UnknownCode(what="person", value=str(person_id))
    known = tuple(role.value for role in Role)
    for role in roles:
        if role not in known:
            raise BadValue(field="role", value=role, why="not-one-of", of=known)
    ledger = ledger_of(asked, session, site)
    going_on = select(PeopleDrill.begun_at).where(
        PeopleDrill.site_id == site.id, PeopleDrill.ended_at.is_(None)
    )
    since = session.scalar(going_on)
    if since is not None:
        raise DrillGoesOn(since=since)
    drill_id = asked.sent.request_id
    body = {
        "drill": drill_id,
        "product": lot.product_id,
        "lot": lot.id,
        "at_random": asked.at_random,
        "tell": [
            *({"person": person_id, "role": None} for person_id in people),
            *({"person": None, "role": role} for role in roles),
        ],
    }
    number = ledger.append(Kind.DRILL_BEGUN, body, happened_at=ledger.now)
    return Done(first_no=number, last_no=number, subject=drill_id, code=Kind.DRILL_BEGUN)


def _tell(asked: TellInDrill, session: Session, site: Site) -> Done:
    ledger = ledger_of(asked, session, site)
    drill = _going_on(session, site, asked.drill_id)
    rows = select(DrillTarget).filter_by(site_id=site.id, drill_id=drill.id)
    targets = {each.line: each for each in session.scalars(rows)}
    target = targets.get(asked.line)
    if target is None:
        raise UnknownCode(what="person in this drill", value=str(asked.line))
    if target.told_no is not None:
        return Done(
            first_no=target.told_no,
            last_no=target.told_no,
            subject=drill.id,
            code=Kind.DRILL_TOLD,
        )
    others = (each.told_at for each in targets.values() if each is not target)
    at = max(ledger.now, drill.begun_at)  # a clock that was set back tells no time before the drill
    body = {"drill": drill.id, "line": asked.line, "ends": all_told(others)}
    number = ledger.append(Kind.DRILL_TOLD, body, happened_at=at)
    return Done(first_no=number, last_no=number, subject=drill.id, code=Kind.DRILL_TOLD)


def _step(asked: StepInDrill, session: Session, site: Site) -> Done:
    known = tuple(step.value for step in Step)
    if asked.step not in known:
        raise BadValue(field="step", value=asked.step, why="not-one-of", of=known)
    if asked.place_id is not None and session.get(Place, (site.id, asked.place_id)) is None:
        raise UnknownCode(what="place", value=str(asked.place_id))
    ledger = ledger_of(asked, session, site)
    drill = _going_on(session, site, asked.drill_id)
    body = {"drill": drill.id, "step": asked.step, "place": asked.place_id}
    at = max(ledger.now, drill.begun_at)
    number = ledger.append(Kind.DRILL_STEP, body, happened_at=at)
    return Done(first_no=number, last_no=number, subject=drill.id, code=Kind.DRILL_STEP)


def _stop(asked: StopDrill, session: Session, site: Site) -> Done:
    known = tuple(reason.value for reason in Stopped)
    if asked.reason not in known:
        raise BadValue(field="why it is stopped", value=asked.reason, why="not-one-of", of=known)
    ledger = ledger_of(asked, session, site)
    drill = _going_on(session, site, asked.drill_id)
    body = {"drill": drill.id, "reason": asked.reason}
    at = max(ledger.now, drill.begun_at)
    number = ledger.append(Kind.DRILL_STOPPED, body, happened_at=at)
    return Done(first_no=number, last_no=number, subject=drill.id, code=Kind.DRILL_STOPPED)


def _going_on(session: Session, site: Site, drill_id: UUID) -> PeopleDrill:
    """Return the drill; called with the ledger's head locked, so nobody ends it meanwhile."""
    drill = session.get(PeopleDrill, (site.id, drill_id))
    if drill is None:
        raise UnknownCode(what="drill", value=str(drill_id))
    if drill.ended_at is not None:
        raise DrillOver(since=drill.ended_at)
    return drill
