"""Signing in with badge and PIN, sessions in a browser, and devices by the secret in their cookie.

The cookie holds random tokens; the store holds their keyed digests. A wait after wrong tries is
per person *and* device, so nobody can lock a colleague out from another device; and no wait ever
stops a take, which needs nobody signed in.
"""

import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cache
from typing import Final
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session, sessionmaker

from traceability.clock import Clock
from traceability.domain.people import Right, Role
from traceability.errors import PinMustChange, WrongCredentials
from traceability.security.pins import HASHER, is_right_pin, wait_after
from traceability.security.roles import rights_of_person, roles_of
from traceability.storage.kept_apart import keyed_digest
from traceability.storage.people import Credential, Device, Person, PinFailure, SignIn

IDLE: Final = timedelta(hours=12)
"""A session that was not used for so long ends: one shift. Own choice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SignedIn:
    """Who is signed in at this browser."""

    person_id: UUID
    name: str
    roles: tuple[Role, ...]
    rights: frozenset[Right]
    since: datetime
    must_change_pin: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class AtDevice:
    """Which device this browser is."""

    device_id: UUID
    name: str
    place: str
    enrolled: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Door:
    """What signing in needs from outside."""

    site_id: UUID
    sessions: sessionmaker[Session]
    reads: sessionmaker[Session]
    """Every page asks who is there: that must never wait for a writer."""
    clock: Clock
    digest_key: bytes

    def digest(self, text: str) -> str:
        """Return the keyed digest under which a badge or token is known."""
        return keyed_digest(self.digest_key, text)

    def check(
        self, badge_code: str, pin: str, device_id: UUID, *, for_signature: bool = False
    ) -> UUID:
        """Return whose badge and PIN these are.

        Raises:
            WrongCredentials: they do not belong together, or too many wrong tries came before;
                the try is counted.
            PinMustChange: for a signature, where the PIN is not its owner's own yet.
        """
        badge = self.digest(badge_code)
        with self.sessions.begin() as session:
            now = self.clock()
            failure = session.get(PinFailure, (badge, device_id), with_for_update=True)
            wait = wait_after(failure.tries, failure.last_at, now) if failure else timedelta(0)
            if wait > timedelta(0):
                raise WrongCredentials(wait_s=round(wait.total_seconds()) or 1)
            person = session.scalar(
                select(Person).filter_by(site_id=self.site_id, badge_digest=badge, active=True)
            )
            person_id = person.id if person else None
            kept = session.get(Credential, person_id) if person_id else None
            pin_hash = kept.pin_hash if kept else None
            given_out = kept is not None and kept.one_time
        # Outside any transaction: the check is slow on purpose, and no scan shall wait for it.
        right = is_right_pin(pin_hash or _nobody(), pin) and pin_hash is not None
        with self.sessions.begin() as session:
            failure = session.get(PinFailure, (badge, device_id), with_for_update=True)
            if right and person_id is not None:
                if failure is not None:
                    session.delete(failure)
                if for_signature and given_out:
                    raise PinMustChange
                return person_id
            tries = 1 if failure is None else failure.tries + 1
            session.merge(
                PinFailure(badge_digest=badge, device_id=device_id, tries=tries, last_at=now)
            )
        wait = wait_after(tries, now, now)
        raise WrongCredentials(wait_s=round(wait.total_seconds()))

    def person_of_badge(self, badge_code: str) -> UUID | None:
        """Return whose badge this is; a badge alone names a person and proves nothing."""
        with self.reads() as session:
            return session.scalar(
                select(Person.id).filter_by(
                    site_id=self.site_id, badge_digest=self.digest(badge_code), active=True
                )
            )

    def open_session(self, person_id: UUID, device_id: UUID) -> str:
        """Start a session and return its token for the cookie."""
        token, now = secrets.token_urlsafe(32), self.clock()
        with self.sessions.begin() as session:
            session.add(
                SignIn(
                    token_digest=self.digest(token),
                    device_id=device_id,
                    person_id=person_id,
                    started_at=now,
                    seen_at=now,
                    ended_at=None,
                )
            )
        return token

    def close_session(self, token: str) -> None:
        """End the session, from this moment and for every copy of the cookie."""
        with self.sessions.begin() as session:
            stored = session.get(SignIn, self.digest(token))
            if stored is not None and stored.ended_at is None:
                stored.ended_at = self.clock()

    def who(self, token: str, device_id: UUID) -> SignedIn | None:
        """Return who is signed in with this token at this device; None if nobody is."""
        with self.reads() as session:
            # One question: it is asked before every page and every scan.
            rows = (
                select(SignIn, Person, Credential)
                .join(Person, (Person.site_id == self.site_id) & (Person.id == SignIn.person_id))
                .outerjoin(Credential, Credential.person_id == Person.id)
                .where(SignIn.token_digest == self.digest(token))
            )
            found_row = session.execute(rows).one_or_none()
            if found_row is None:
                return None
            (stored, person, credential), now = found_row, self.clock()
            if stored.ended_at is not None or stored.device_id != device_id:
                return None
            if now - stored.seen_at > IDLE or not person.active:
                return None
            found = SignedIn(
                person_id=person.id,
                name=person.name,
                roles=roles_of(person),
                rights=rights_of_person(session, self.site_id, person.id),
                since=stored.started_at,
                must_change_pin=credential is not None and credential.one_time,
            )
            stale = now - stored.seen_at > timedelta(minutes=5)
        if stale:
            with self.sessions.begin() as session:
                session.get_one(SignIn, self.digest(token)).seen_at = now
        return found

    def device(self, token: str) -> AtDevice | None:
        """Return the device whose secret this is; None for an unknown or revoked one."""
        with self.reads() as session:
            device = session.scalar(
                select(Device).filter_by(
                    site_id=self.site_id, token_digest=self.digest(token), revoked=False
                )
            )
            if device is None:
                return None
            return AtDevice(
                device_id=device.id,
                name=device.name,
                place=device.place,
                enrolled=device.enrolled,
            )


@cache
def _nobody() -> str:
    """Return what is checked when the badge is unknown: that takes as long as for a known one."""
    return HASHER.hash("000000-nobody")
