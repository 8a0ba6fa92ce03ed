"""Photos of a laid-out trolley as evidence: kept only where the policy says so, and erasable.

The picture lies in `var/pictures/`, its dots alone. The ledger holds its SHA-256 and nothing that
could be looked at: erased, the chain stays whole and says that there was one.
"""

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import ClassVar, Final
from uuid import UUID, uuid5

from sqlalchemy.orm import Session

from traceability.actions.on_circuit import the_circuit
from traceability.actions.once import Asked, Done, Site, answer_once, entered, ledger_of
from traceability.domain.events import Kind
from traceability.domain.moments import believed_moment
from traceability.domain.people import Right
from traceability.errors import BadValue, PicturesNotKept, UnknownCode
from traceability.storage.attachments import PICTURES, read_file, remove_file, write_file
from traceability.storage.circuits import Circuit
from traceability.storage.pictures import PrimePicture
from traceability.storage.policies import newest_policy

WHY_ERASED: Final = ("person-in-it", "not-of-this-prime", "no-longer-needed")


@dataclass(frozen=True, slots=True, kw_only=True)
class KeepPicture(Asked):
    """The photo from which parts were filled in is to be kept."""

    kind: ClassVar[str] = "keep-picture"
    right: ClassVar[Right | None] = Right.ACT
    circuit_id: UUID
    sent_sha256: str
    """Of the file as it was sent: what was filled in from it names it so."""
    at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class ErasePicture(Asked):
    """A photo must not be kept any longer; that there was one stays on record."""

    kind: ClassVar[str] = "erase-picture"
    right: ClassVar[Right | None] = Right.RULE
    picture_id: UUID
    reason: str
    """One of `WHY_ERASED`."""


def keep_picture(asked: KeepPicture, bare: bytes, *, site: Site, var_dir: Path) -> Done:
    """Write the picture to `var/pictures/` and record that it is kept.

    Args:
        asked: its request id names the picture, so that sending it again is the same picture.
        bare: a JPEG that holds the dots alone (`imaging.bare`).
        site: whose.
        var_dir: the service's folder.

    Raises:
        PicturesNotKept: the policy says no. UnknownCode: no such circuit. Nothing is left.
    """
    picture_id = uuid5(asked.sent.request_id, "picture")
    # Written inside the transaction, before its end: no record of a picture that is not there.
    return answer_once(
        asked,
        lambda asked, session, site: _keep(asked, session, site, picture_id, bare, var_dir),
        site,
    )


def erase_picture(asked: ErasePicture, *, site: Site, var_dir: Path) -> Done:
    """Record that the picture is erased, then remove it from `var/`.

    Raises:
        UnknownCode: no such picture, or erased already. BadValue: no reason. Nothing was written.
    """
    done = answer_once(asked, _erase, site)
    remove_file(var_dir, asked.picture_id, PICTURES)
    return done


def kept_picture(picture_id: UUID, *, var_dir: Path) -> bytes | None:
    """Return the picture; None where it is not there."""
    return read_file(var_dir, picture_id, PICTURES)


def _keep(
    asked: KeepPicture, session: Session, site: Site, picture_id: UUID, bare: bytes, var_dir: Path
) -> Done:
    circuit = the_circuit(session, site, asked.circuit_id)
    _, limits = newest_policy(session, site.id)
    if not limits.keep_pictures:
        raise PicturesNotKept
    ledger = ledger_of(asked, session, site)
    at, noted = believed_moment(asked.at, now=ledger.now, not_before=circuit.begun_at)
    body = {
        "picture": picture_id,
        "circuit": circuit.id,
        "sent_sha256": asked.sent_sha256,
        "sha256": write_file(var_dir, picture_id, bare, PICTURES),
        "size_bytes": len(bare),
        "device_at": asked.at,
        "cautions": noted,
    }
    return entered(ledger, Kind.PICTURE_KEPT, body, at=at, subject=circuit.id)


def _erase(asked: ErasePicture, session: Session, site: Site) -> Done:
    picture = session.get(PrimePicture, (site.id, asked.picture_id))
    if picture is None or picture.superseded_no is not None:
        raise UnknownCode(what="picture", value=str(asked.picture_id))
    if asked.reason not in WHY_ERASED:
        raise BadValue(field="why", value=asked.reason, why="not-one-of", of=WHY_ERASED)
    circuit = session.get_one(Circuit, (site.id, picture.circuit_id))
    ledger = ledger_of(asked, session, site)
    body = {
        "picture": picture.id,
        "circuit": circuit.id,
        "reason": asked.reason,
        "cautions": (),
    }
    return entered(ledger, Kind.PICTURE_ERASED, body, at=ledger.now, subject=circuit.id)
