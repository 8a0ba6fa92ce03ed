"""Whose an act is that a device kept and sends later: proved with a key of that sign-in.

The page of a prime is given a key that follows from the sign-in at this device and from the
service's own secret. With it the browser marks each act when it is done (HMAC-SHA-256 over the
sign-in, the device's own number of the act, its address and its body). So an act stays the act of
the person who did it, whoever is signed in when it is sent, and nobody can claim one for another.
"""

import base64
import hashlib
import hmac
from dataclasses import dataclass
from datetime import datetime
from typing import Final
from uuid import UUID

from traceability.domain.events import Plain
from traceability.security.sign_in import IDLE, Door
from traceability.storage.people import Device, SignIn

_LONGEST: Final = 400


@dataclass(frozen=True, slots=True, kw_only=True)
class Claim:
    """An act's own word of who did it, at which device, and in which order."""

    device_id: UUID
    person_id: UUID
    number: int
    """The device's own sequence."""
    waited: bool
    """It was kept on the device for want of an answer, not sent at once."""
    signed_out_at: datetime
    """When that sign-in ended, or would have for want of use."""
    device_revoked: bool
    proof: str
    """ "sign-in", or "none" where the browser could only name it."""

    def words(self, sent_by: UUID | None) -> dict[str, Plain]:
        """Return what stands of it in the entry."""
        return {
            "number": self.number,
            "sent_by": str(sent_by) if sent_by else None,
            "proof": self.proof,
        }


def claim_of(
    door: Door, proof: str, numbered: str, address: str, body: bytes, now_here: UUID | None
) -> Claim | str | None:
    """Return the claim, "unproven" where it does not hold, or None where none is made.

    A browser that can prove nothing (plain http) only names the sign-in: that holds for who is
    signed in here now, `now_here`, and for nobody else. `numbered` is "NUMBER.kept" or
    "NUMBER.now"; `proof` is the sign-in's reference, a dot and the mark; `address` and `body` are
    the request's own.
    """
    if not proof:
        return None
    ref, _, mark = proof.partition(".")
    number, _, how = numbered.rpartition(".")
    if len(proof) > _LONGEST or not number.replace(".", "").isdecimal():
        return "unproven"
    said = f"{ref}\n{number}\n{address}\n".encode() + body
    wanted = hmac.digest(act_key(door, ref), said, "sha256")
    if mark and not hmac.compare_digest(_text(wanted), mark):
        return "unproven"
    with door.reads() as session:
        signed = session.get(SignIn, ref)
        if signed is None or (not mark and signed.person_id != now_here):
            return "unproven"
        device = session.get(Device, (door.site_id, signed.device_id))
        if device is None:
            return "unproven"
        return Claim(
            device_id=signed.device_id,
            person_id=signed.person_id,
            number=int(number.partition(".")[0]),
            waited=how == "kept",
            signed_out_at=signed.ended_at or signed.seen_at + IDLE,
            proof="sign-in" if mark else "none",
            device_revoked=device.revoked,
        )


def reference_of(door: Door, token: str) -> str:
    """Return how a sign-in is named to its own browser; it opens nothing."""
    return door.digest(token)


def act_key(door: Door, reference: str) -> bytes:
    """Return the 32 bytes with which a browser marks the acts of a sign-in."""
    return hmac.digest(door.digest_key, b"acts of\n" + reference.encode(), hashlib.sha256)


def key_text(door: Door, reference: str) -> str:
    """Return the key as the page is given it: base64."""
    return base64.b64encode(act_key(door, reference)).decode("ascii")


def _text(mark: bytes) -> str:
    return base64.urlsafe_b64encode(mark).decode("ascii").rstrip("=")
