"""People, their badges and their PINs."""

from dataclasses import dataclass
from typing import ClassVar
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.actions.once import Asked, Done, Site, answer_once, ledger_of
from traceability.actions.single import one_event
from traceability.domain.events import Kind
from traceability.domain.people import Right, Role
from traceability.errors import BadValue, UnknownCode
from traceability.security.pins import require_good_pin
from traceability.security.roles import roles_of
from traceability.storage.kept_apart import keyed_digest
from traceability.storage.people import Credential, Person


@dataclass(frozen=True, slots=True, kw_only=True)
class SetPerson(Asked):
    """Add or change somebody who works here."""

    kind: ClassVar[str] = "set-person"
    right: ClassVar[Right | None] = Right.ADMIN
    person_id: UUID
    name: str
    roles: tuple[str, ...]
    active: bool = True


def set_person(asked: SetPerson, *, site: Site) -> Done:
    """Record the person.

    Raises:
        BadValue: an empty name, a role that is not known, or nobody would be left as
        administrator. Nothing was written.
    """
    return answer_once(asked, _set_person, site)


def _set_person(asked: SetPerson, session: Session, site: Site) -> Done:
    if not asked.name.strip():
        raise BadValue(field="name", value=asked.name, why="empty")
    known = [role.value for role in Role]
    for role in asked.roles:
        if role not in known:
            raise BadValue(field="role", value=role, why="not-one-of", of=known)
    _require_administrator_left(asked, session, site)
    body = {
        "person": asked.person_id,
        "name": asked.name.strip(),
        "roles": ",".join(role for role in known if role in asked.roles),
        "active": asked.active,
    }
    return one_event(asked, session, site, Kind.PERSON_SET, body, subject=asked.person_id)


def _require_administrator_left(asked: SetPerson, session: Session, site: Site) -> None:
    """Refuse what would leave nobody to look after people and devices."""
    stays = asked.active and Role.ADMINISTRATOR in asked.roles
    if stays or not _is_administrator(session.get(Person, (site.id, asked.person_id))):
        return
    others = select(Person).where(Person.site_id == site.id, Person.id != asked.person_id)
    if not any(_is_administrator(each) for each in session.scalars(others)):
        raise BadValue(field="roles", value=asked.name, why="last-administrator")


def _is_administrator(person: Person | None) -> bool:
    return person is not None and person.active and Role.ADMINISTRATOR in roles_of(person)


@dataclass(frozen=True, slots=True, kw_only=True)
class IssueBadge(Asked):
    """Give a person a new badge with a PIN; the badge before stops at once."""

    kind: ClassVar[str] = "issue-badge"
    right: ClassVar[Right | None] = Right.ADMIN
    person_id: UUID
    badge_code: str
    """The code in the badge's symbol; only its keyed digest is kept."""
    pin_hash: str
    """argon2id hash made by `security.pins.hash_pin`; never the PIN."""
    one_time: bool = False


def issue_badge(asked: IssueBadge, *, site: Site) -> Done:
    """Record the badge's digest and keep the PIN's hash apart.

    Raises:
        UnknownCode: no such person. BadValue: somebody has a badge of that code. Nothing was
        written.
    """
    return answer_once(asked, _issue_badge, site)


def _issue_badge(asked: IssueBadge, session: Session, site: Site) -> Done:
    _require_person(session, site, asked.person_id)
    digest = keyed_digest(site.digest_key, asked.badge_code)
    holder = select(Person.id).where(Person.badge_digest == digest, Person.id != asked.person_id)
    if session.scalar(holder) is not None:
        raise BadValue(field="badge code", value="", why="in-use")
    _keep_pin(session, asked.person_id, asked.pin_hash, one_time=asked.one_time)
    ledger = ledger_of(asked, session, site)
    body = {"person": asked.person_id, "badge_digest": digest}
    first = ledger.append(Kind.BADGE_ISSUED, body, happened_at=ledger.now)
    last = ledger.append(Kind.PIN_SET, {"person": asked.person_id}, happened_at=ledger.now)
    return Done(first_no=first, last_no=last, subject=asked.person_id)


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangePin(Asked):
    """A person sets an own PIN."""

    kind: ClassVar[str] = "change-pin"
    right: ClassVar[Right | None] = Right.ACT
    pin_hash: str


def change_pin(asked: ChangePin, *, site: Site) -> Done:
    """Keep the new hash; the ledger says only that it changed."""
    return answer_once(asked, _change_pin, site)


def _change_pin(asked: ChangePin, session: Session, site: Site) -> Done:
    person_id = asked.sent.actor_id
    if person_id is None:
        raise UnknownCode(what="person", value="")
    _keep_pin(session, person_id, asked.pin_hash, one_time=False)
    return one_event(asked, session, site, Kind.PIN_SET, {"person": person_id}, subject=person_id)


def _require_person(session: Session, site: Site, person_id: UUID) -> Person:
    person = session.get(Person, (site.id, person_id))
    if person is None:
        raise UnknownCode(what="person", value=str(person_id))
    return person


def _keep_pin(session: Session, person_id: UUID, pin_hash: str, *, one_time: bool) -> None:
    session.merge(Credential(person_id=person_id, pin_hash=pin_hash, one_time=one_time))


__all__ = [
    "ChangePin",
    "IssueBadge",
    "SetPerson",
    "change_pin",
    "issue_badge",
    "require_good_pin",
    "set_person",
]
