"""Every act is safe to repeat: a device that heard no answer simply sends the request again.

`answer_once` is the one place where a use case meets the database: it checks the right, opens the
transaction, recognises repeats, keeps the answer and settles lost races. An act that was refused
leaves no row, so the same request is judged anew when it comes again.
"""

import json
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, field
from datetime import datetime
from typing import Any, ClassVar, Final, TypeVar
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy.exc import IntegrityError, OperationalError
from sqlalchemy.orm import Session, sessionmaker

from traceability.clock import Clock
from traceability.domain.events import Kind, Plain
from traceability.domain.people import Right
from traceability.errors import Busy, RequestIdReused, StoreFull
from traceability.security.roles import require
from traceability.storage.engine import is_lost_race, is_no_room, is_time_out
from traceability.storage.kept_apart import keyed_digest, uuid7
from traceability.storage.ledger import OpenLedger, Sent, canonical, open_ledger
from traceability.storage.requests import Request

TRIES: Final = 3

__all__ = ["Asked", "Done", "Sent", "Site", "answer_given", "answer_once", "entered", "ledger_of"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """What an act needs from outside: the site's store, clock and secret."""

    id: UUID
    sessions: sessionmaker[Session]
    """Bound to the writing engine."""
    clock: Clock
    digest_key: bytes = field(repr=False)
    """From the key file, not the database: asked bodies hold texts that could be guessed."""
    zone: ZoneInfo
    new_id: Callable[[datetime], UUID] = uuid7


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """Base of what is asked of a use case; each adds its own fields."""

    kind: ClassVar[str]
    right: ClassVar[Right | None]
    """The right it needs; None: open to anyone at an enrolled device."""
    sent: Sent


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """What was done. Plain values: table rows stay inside the transaction."""

    first_no: int
    last_no: int
    """Numbers of the first and the last event; one request may write several."""
    subject: UUID | None = None
    """The circuit, run, person ... that the act was about."""
    code: str = ""
    """What the screen says, worded by `messages`; empty where the page itself shows it."""
    verdict: str = "accepted"
    facts: Mapping[str, Plain] = field(default_factory=dict)
    disputed: bool = False
    cautions: tuple[str, ...] = ()
    """Codes of all that spoke against it at that time; often empty."""


A = TypeVar("A", bound=Asked)


def answer_once(asked: A, act: Callable[[A, Session, Site], Done], site: Site) -> Done:
    """Carry the act out, or return the answer that this request was given the first time.

    A writer that lost a race tries again: the winner has committed by then, so its answer (if
    it was this very request) or its claim is there to be read.

    Raises:
        Refused: passed on from `act`; also RequestIdReused, Busy, StoreFull. Nothing was written.
    """
    for _ in range(TRIES):
        try:
            with site.sessions.begin() as session:
                return _answer(asked, act, session, site)
        except IntegrityError as error:
            if not is_lost_race(error):
                raise
        except OperationalError as error:
            if is_no_room(error):
                raise StoreFull from error
            if not is_time_out(error):
                raise
            break
    raise Busy(request=asked.sent.request_id)


def answer_given(sent: Sent, session: Session, site_id: UUID) -> Done | None:
    """Return the answer that this request was given the first time, whatever it asked."""
    request = session.get(Request, (site_id, sent.device_id, sent.request_id))
    return None if request is None else _read_answer(request)


def ledger_of(asked: Asked, session: Session, site: Site) -> OpenLedger:
    """Lock the ledger's head for this act; call it after every other row lock."""
    return open_ledger(session, asked.sent, site_id=site.id, clock=site.clock)


def entered(
    ledger: OpenLedger,
    kind: Kind,
    body: Mapping[str, Any],
    *,
    at: datetime,
    subject: UUID | None,
    code: str = "",
    facts: Mapping[str, Plain] | None = None,
    disputed: bool = False,
) -> Done:
    """Append one event at the moment believed and return what was done.

    The answer's cautions are the body's, and its code the event's kind if none is given.
    """
    number = ledger.append(kind, body, happened_at=at)
    return Done(
        first_no=number,
        last_no=number,
        subject=subject,
        code=code or kind,
        facts=facts or {},
        disputed=disputed,
        cautions=tuple(body["cautions"]),
    )


def _answer(
    asked: A, act: Callable[[A, Session, Site], Done], session: Session, site: Site
) -> Done:
    sent = asked.sent
    left_out = {"sent", *sent.unsaid}
    what = {name: value for name, value in asdict(asked).items() if name not in left_out}
    digest = keyed_digest(site.digest_key, canonical(what))
    request = session.get(Request, (site.id, sent.device_id, sent.request_id))
    if request is not None:
        if (request.kind, request.digest) != (asked.kind, digest):
            raise RequestIdReused(request=sent.request_id, kind=request.kind)
        return _read_answer(request)
    require(
        session,
        site_id=site.id,
        device_id=sent.device_id,
        actor_id=sent.actor_id,
        right=asked.right,
    )
    request = Request(
        site_id=site.id,
        device_id=sent.device_id,
        request_id=sent.request_id,
        actor_id=sent.actor_id,
        kind=asked.kind,
        digest=digest,
    )
    session.add(request)
    session.flush()  # claims the id: the same request on another thread waits here
    done = act(asked, session, site)
    request.first_no, request.last_no = done.first_no, done.last_no
    request.answer = canonical(
        {
            "subject": done.subject,
            "code": done.code,
            "verdict": done.verdict,
            "facts": done.facts,
            "disputed": done.disputed,
            "cautions": done.cautions,
        }
    )
    return done


def _read_answer(request: Request) -> Done:
    answer = json.loads(request.answer)
    return Done(
        first_no=request.first_no,
        last_no=request.last_no,
        subject=answer["subject"] and UUID(answer["subject"]),
        code=answer["code"],
        verdict=answer["verdict"],
        facts=answer["facts"],
        disputed=answer["disputed"],
        cautions=tuple(answer["cautions"]),
    )
