"""Somebody was told by hand: this service rings nobody, so a person enters who was."""

from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar, Final
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.actions.on_circuit import the_circuit
from traceability.actions.once import Asked, Done, Site, answer_once, entered, ledger_of
from traceability.domain.events import Kind
from traceability.domain.moments import believed_moment
from traceability.domain.people import Right
from traceability.errors import BadValue, UnknownCode
from traceability.storage.kept_apart import keep_apart
from traceability.storage.site import Place

TOLD_OF: Final = ("missing", "on-hold", "not-right", "past-use-by", "away", "other")
MOST_LETTERS: Final = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class ToldByHand(Asked):
    """Who was told, of a place or of a circuit."""

    kind: ClassVar[str] = "told-by-hand"
    right: ClassVar[Right | None] = Right.ACT
    who: str
    """As entered; it may name a person, so it is kept apart."""
    reason: str
    at: datetime
    place_id: UUID | None = None
    circuit_id: UUID | None = None


def told_by_hand(asked: ToldByHand, *, site: Site) -> Done:
    """Record it.

    Raises:
        UnknownCode: no such place or circuit. BadValue: nobody is named, neither place nor
        circuit, or no such reason. Nothing was written.
    """
    return answer_once(asked, _told, site)


def _told(asked: ToldByHand, session: Session, site: Site) -> Done:
    who = asked.who.strip()
    if not who:
        raise BadValue(field="who was told", value="", why="empty")
    if len(who) > MOST_LETTERS:
        raise BadValue(field="who was told", value="", why="too-long")
    if asked.reason not in TOLD_OF:
        raise BadValue(field="reason", value=asked.reason, why="not-one-of", of=TOLD_OF)
    if asked.place_id is None and asked.circuit_id is None:
        raise BadValue(field="place", value="", why="empty")
    if asked.place_id is not None and session.get(Place, (site.id, asked.place_id)) is None:
        raise UnknownCode(what="place", value=str(asked.place_id))
    if asked.circuit_id is not None:
        the_circuit(session, site, asked.circuit_id)
    ledger = ledger_of(asked, session, site)
    at, noted = believed_moment(asked.at, now=ledger.now)
    body = {
        "place": asked.place_id,
        "circuit": asked.circuit_id,
        "who": [keep_apart(session, who, at=ledger.now)],
        "reason": asked.reason,
        "device_at": asked.at,
        "cautions": noted,
    }
    return entered(
        ledger,
        Kind.TOLD_BY_HAND,
        body,
        at=at,
        subject=asked.place_id or asked.circuit_id,
    )
