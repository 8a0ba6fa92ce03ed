"""Devices: enrolled, renamed, revoked; and browsers that are only known, not enrolled."""

import secrets
from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.actions.once import Asked, Done, Sent, Site, answer_once
from traceability.actions.single import one_event
from traceability.domain.events import Kind
from traceability.domain.people import Right
from traceability.domain.tags import NO_LOOK_ALIKES
from traceability.errors import BadValue, UnknownCode
from traceability.security.roles import service_device
from traceability.storage.kept_apart import keyed_digest
from traceability.storage.ledger import open_ledger
from traceability.storage.people import Device, EnrolCode


@dataclass(frozen=True, slots=True, kw_only=True)
class SetDevice(Asked):
    """Name a device and say where it is and whose; its browser enrols with a one-time code."""

    kind: ClassVar[str] = "set-device"
    right: ClassVar[Right | None] = Right.ADMIN
    set_id: UUID
    name: str
    place: str
    owner: str = ""
    token_digest: str | None = None
    enrolled: bool = False


def set_device(asked: SetDevice, *, site: Site) -> Done:
    """Record the device.

    Raises:
        BadValue: an empty name. Nothing was written.
    """
    return answer_once(asked, _set_device, site)


def _set_device(asked: SetDevice, session: Session, site: Site) -> Done:
    if not asked.name.strip():
        raise BadValue(field="name", value=asked.name, why="empty")
    body = {
        "device": asked.set_id,
        "name": asked.name.strip(),
        "place": asked.place.strip(),
        "owner": asked.owner.strip(),
        "enrolled": asked.enrolled,
        "token_digest": asked.token_digest,
    }
    return one_event(asked, session, site, Kind.DEVICE_SET, body, subject=asked.set_id)


@dataclass(frozen=True, slots=True, kw_only=True)
class RevokeDevice(Asked):
    """A device is lost or gone; it can do nothing more."""

    kind: ClassVar[str] = "revoke-device"
    right: ClassVar[Right | None] = Right.ADMIN
    revoked_id: UUID


def revoke_device(asked: RevokeDevice, *, site: Site) -> Done:
    """Record that the device may do nothing more.

    Raises:
        UnknownCode: no such device. Nothing was written.
    """
    return answer_once(asked, _revoke_device, site)


def _revoke_device(asked: RevokeDevice, session: Session, site: Site) -> Done:
    if session.get(Device, (site.id, asked.revoked_id)) is None:
        raise UnknownCode(what="device", value=str(asked.revoked_id))
    body = {"device": asked.revoked_id}
    return one_event(asked, session, site, Kind.DEVICE_REVOKED, body, subject=asked.revoked_id)


def new_enrol_code(
    device_id: UUID, *, site: Site, expires_at: datetime | None, code: str = ""
) -> str:
    """Return a one-time code for the device, eight letters and digits without look-alikes.

    Not an act: the code says nothing about circuits, and it is gone once used.
    """
    code = code or "".join(secrets.choice(NO_LOOK_ALIKES) for _ in range(8))
    with site.sessions.begin() as session:
        session.merge(
            EnrolCode(
                code_digest=keyed_digest(site.digest_key, code),
                device_id=device_id,
                expires_at=expires_at,
                used_at=None,
            )
        )
    return code


def enrol(device_code: str, token_digest: str, *, site: Site, request_id: UUID) -> UUID:
    """Make a browser the device that the code belongs to; return the device's id.

    Raises:
        UnknownCode: no such code, used or too old. Nothing was written.
    """
    code = "".join(device_code.split()).replace("-", "").upper()
    with site.sessions.begin() as session:
        now = site.clock()
        stored = session.get(EnrolCode, keyed_digest(site.digest_key, code))
        good = stored is not None and stored.used_at is None
        if stored is None or not good or (stored.expires_at and stored.expires_at <= now):
            raise UnknownCode(what="device code", value=device_code)
        device = session.get(Device, (site.id, stored.device_id))
        if device is None or device.revoked:
            raise UnknownCode(what="device code", value=device_code)
        stored.used_at = now
        sent = Sent(device_id=service_device(site.id), actor_id=None, request_id=request_id)
        ledger = open_ledger(session, sent, site_id=site.id, clock=site.clock)
        body = {
            "device": device.id,
            "name": device.name,
            "place": device.place,
            "owner": device.owner,
            "enrolled": True,
            "token_digest": token_digest,
        }
        ledger.append(Kind.DEVICE_SET, body, happened_at=ledger.now)
        return stored.device_id
