"""Holds: a circuit, a lot or a product is not to be used until a named person releases it."""

from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar, Final
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.actions.once import Asked, Done, Site, answer_once, ledger_of
from traceability.domain.events import Kind
from traceability.domain.moments import believed_moment
from traceability.domain.people import Right
from traceability.errors import BadValue, NotAllowed, UnknownCode
from traceability.security.roles import rights_of_person, service_device
from traceability.storage.circuits import Circuit
from traceability.storage.items import Lot, Product
from traceability.storage.lookup import hold_on

SUBJECTS: Final = {
    "circuit": (Circuit, Right.HOLD_CIRCUIT),
    "lot": (Lot, Right.HOLD_STOCK),
    "product": (Product, Right.HOLD_STOCK),
}
REASONS: Final = ("notice", "damage", "doubt", "inspection", "other")


@dataclass(frozen=True, slots=True, kw_only=True)
class PutOnHold(Asked):
    """Not to be used until released."""

    kind: ClassVar[str] = "hold"
    right: ClassVar[Right | None] = Right.ACT
    """Which right it needs depends on the subject and is checked with it."""
    subject: str
    subject_id: UUID
    reason: str
    at: datetime
    notice: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Release(Asked):
    """Free again."""

    kind: ClassVar[str] = "release"
    right: ClassVar[Right | None] = Right.ACT
    subject: str
    subject_id: UUID
    reason: str
    at: datetime


def put_on_hold(asked: PutOnHold, *, site: Site) -> Done:
    """Record the hold.

    Raises:
        UnknownCode, BadValue, NotAllowed: nothing was written.
    """
    return answer_once(asked, _hold, site)


def release(asked: Release, *, site: Site) -> Done:
    """Record the release.

    Raises:
        UnknownCode: there is no such hold. BadValue, NotAllowed: nothing was written.
    """
    return answer_once(asked, _release, site)


def _hold(asked: PutOnHold, session: Session, site: Site) -> Done:
    _check(asked, session, site)
    if asked.reason not in REASONS:
        raise BadValue(field="reason", value=asked.reason, why="not-one-of", of=REASONS)
    body: dict[str, object] = {"reason": asked.reason, "notice": asked.notice.strip()}
    return _append(asked, session, site, Kind.HELD, body, "held")


def _release(asked: Release, session: Session, site: Site) -> Done:
    _check(asked, session, site)
    if hold_on(session, site.id, asked.subject_id) is None:
        raise UnknownCode(what="hold", value=str(asked.subject_id))
    return _append(asked, session, site, Kind.RELEASED, {"reason": asked.reason}, "released")


def _check(asked: PutOnHold | Release, session: Session, site: Site) -> None:
    if asked.subject not in SUBJECTS:
        raise BadValue(field="subject", value=asked.subject, why="not-one-of", of=tuple(SUBJECTS))
    table, right = SUBJECTS[asked.subject]
    if session.get(table, (site.id, asked.subject_id)) is None:
        raise UnknownCode(what=asked.subject, value=str(asked.subject_id))
    by_service = asked.sent.device_id == service_device(site.id)
    if not by_service and right not in rights_of_person(session, site.id, asked.sent.actor_id):
        raise NotAllowed(right=right, person="")


def _append(
    asked: PutOnHold | Release,
    session: Session,
    site: Site,
    kind: Kind,
    body: dict[str, object],
    code: str,
) -> Done:
    ledger = ledger_of(asked, session, site)
    at, noted = believed_moment(asked.at, now=ledger.now)
    body |= {"subject": asked.subject, "subject_id": asked.subject_id, "cautions": noted}
    number = ledger.append(kind, body, happened_at=at)
    return Done(
        first_no=number, last_no=number, subject=asked.subject_id, code=code, cautions=noted
    )
