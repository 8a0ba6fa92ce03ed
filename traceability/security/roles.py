"""May this person, at this device, do that? The one place where rights are checked."""

from uuid import UUID, uuid5

from sqlalchemy.orm import Session

from traceability.domain.people import Right, Role, rights_of
from traceability.errors import DeviceNotEnrolled, NotAllowed, SignInNeeded
from traceability.storage.people import Device, Person


def service_device(site_id: UUID) -> UUID:
    """Return the id of the service itself as a device: its command line and its worker."""
    return uuid5(site_id, "service")


def rights_of_person(session: Session, site_id: UUID, person_id: UUID | None) -> frozenset[Right]:
    """Return what a person may do; nothing for nobody and for who has left."""
    person = person_id and session.get(Person, (site_id, person_id))
    if not person or not person.active:
        return frozenset()
    return rights_of(roles_of(person))


def roles_of(person: Person) -> tuple[Role, ...]:
    """Return the roles of a stored person."""
    return tuple(Role(name) for name in person.roles.split(",") if name)


def require(
    session: Session, *, site_id: UUID, device_id: UUID, actor_id: UUID | None, right: Right | None
) -> None:
    """Let pass or refuse. An act without a right is open to anyone at an enrolled device.

    Raises:
        SignInNeeded, NotAllowed: the act needs a person, or one with another role.
        DeviceNotEnrolled: the device was revoked, or nobody is signed in and it is not known.
    """
    if device_id == service_device(site_id):
        return
    device = session.get(Device, (site_id, device_id))
    if device is not None and device.revoked:
        raise DeviceNotEnrolled
    if right is None:
        known = device is not None and device.enrolled
        if not known and not rights_of_person(session, site_id, actor_id):
            raise DeviceNotEnrolled
        return
    if actor_id is None:
        raise SignInNeeded(right=right)
    rights = rights_of_person(session, site_id, actor_id)
    if right not in rights:
        person = session.get(Person, (site_id, actor_id))
        raise NotAllowed(right=right, person=person.name if person else "")
