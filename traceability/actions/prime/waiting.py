"""Acts of a device's queue that cannot be done by themselves: kept whole, until a person says.

Nothing that a device kept is lost, whatever is thought of it now: too old, a clock that cannot be
right, a device that was taken out of use, a prime that has ended, a refusal of any kind. It is
written as what it was, and a person records it or leaves it out.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import ClassVar, Final
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.actions.once import Asked, Done, Site, answer_once, entered, ledger_of
from traceability.actions.prime.personal import is_personal
from traceability.actions.prime.scanned import Scan, may_be_kept
from traceability.domain.events import Kind, Plain
from traceability.domain.moments import MAX_AHEAD, believed_moment
from traceability.domain.people import Right
from traceability.errors import BadValue, StaleForm, UnknownCode
from traceability.storage.kept_apart import keep_apart
from traceability.storage.waiting_acts import WaitingAct

LONGEST_WAIT: Final = timedelta(days=30)
"""What was kept for longer is looked at by a person before it counts. Own choice, no source."""

WAYS: Final = ("recorded", "left-out")
LONGEST: Final = 400


@dataclass(frozen=True, slots=True, kw_only=True)
class KeepAct(Asked):
    """An act came from a device's queue and is not done by itself."""

    kind: ClassVar[str] = "keep-act"
    right: ClassVar[Right | None] = None
    circuit_id: UUID | None
    number: str
    """The circuit's number as the device knew it."""
    device_id: UUID
    person_id: UUID | None
    """Whose act it is by its proof; None: unproven."""
    at: datetime
    what: str
    why: tuple[str, ...]
    said: Mapping[str, str]
    text: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SettleAct(Asked):
    """A person looked at it: it was recorded, or it is left out."""

    kind: ClassVar[str] = "settle-act"
    right: ClassVar[Right | None] = Right.ACT
    waits_no: int
    settled_as: str


def keep_act(asked: KeepAct, *, site: Site) -> Done:
    """Write the act down as what it was; nothing of it is done."""
    return answer_once(asked, _keep, site)


def settle_act(asked: SettleAct, *, site: Site) -> Done:
    """Record what became of it.

    Raises:
        UnknownCode: there is no such act. StaleForm: somebody settled it before. BadValue.
        Nothing was written.
    """
    return answer_once(asked, _settle, site)


def reasons_to_wait(
    at: datetime, now: datetime, *, signed_out_at: datetime | None, device_revoked: bool
) -> tuple[str, ...]:
    """Return why an act that a device kept is not done by itself; empty: it is."""
    found = {
        "kept-too-long": now - at > LONGEST_WAIT,
        "clock-ahead": at - now > MAX_AHEAD,
        "device-revoked": device_revoked,
        "after-sign-out": signed_out_at is not None and at > signed_out_at + MAX_AHEAD,
    }
    return tuple(code for code, holds in found.items() if holds)


def _keep(asked: KeepAct, session: Session, site: Site) -> Done:
    ledger = ledger_of(asked, session, site)
    at, noted = believed_moment(asked.at, now=ledger.now)
    # A person's code is never written, whatever else becomes of the act.
    scan = Scan(text=asked.text, channel=str(asked.said.get("channel") or "physical-keys"))
    keeps = bool(asked.text.strip()) and len(asked.text) <= LONGEST
    kept = keeps and may_be_kept(scan, at.astimezone(site.zone).date())
    facts: dict[str, Plain] = {"what": asked.what, "why": list(asked.why), "number": asked.number}
    body = {
        "circuit": asked.circuit_id,
        "device": asked.device_id,
        "person": asked.person_id,
        "what": asked.what,
        "why": list(asked.why),
        "said": {name: said for name, said in asked.said.items() if not is_personal(said.strip())},
        **(keep_apart(session, asked.text, at=ledger.now) if kept else {"kept": None}),
        "facts": facts,
        "device_at": asked.at,
        "cautions": noted,
    }
    return entered(
        ledger,
        Kind.ACT_WAITS,
        body,
        at=at,
        subject=asked.circuit_id,
        code="act-waits",
        facts=facts,
    )


def _settle(asked: SettleAct, session: Session, site: Site) -> Done:
    if asked.settled_as not in WAYS:
        raise BadValue(field="what became of it", value=asked.settled_as, why="not-one-of", of=WAYS)
    row = session.get(WaitingAct, (site.id, asked.waits_no, 0), with_for_update=True)
    if row is None:
        raise UnknownCode(what="entry", value=str(asked.waits_no))
    if row.superseded_no is not None:
        raise StaleForm(number=str(asked.waits_no))
    ledger = ledger_of(asked, session, site)
    body = {
        "circuit": row.circuit_id,
        "waits_no": asked.waits_no,
        "settled_as": asked.settled_as,
        "facts": {"what": row.what, "settled_as": asked.settled_as},
        "cautions": (),
    }
    return entered(ledger, Kind.ACT_SETTLED, body, at=ledger.now, subject=row.circuit_id)
