"""Rule that two lot texts which look alike name one lot, or two.

Nobody but a person may say so: a reader that drops a hyphen and a maker that uses one look the
same. The ruling is given by name, with what it rests on, and a newer one takes its place.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.actions.once import Asked, Done, Site, answer_once, entered, ledger_of
from traceability.domain.events import Kind
from traceability.domain.moments import believed_moment
from traceability.domain.people import Right
from traceability.domain.scopes import Match, alike
from traceability.errors import BadValue, UnknownCode
from traceability.storage.items import Product
from traceability.storage.kept_apart import keep_apart


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleOnLots(Asked):
    """What was captured here, and what stands on the notice or in the book."""

    kind: ClassVar[str] = "rule-on-lots"
    right: ClassVar[Right | None] = Right.RULE_LOTS
    product_id: UUID
    captured: str
    notice: str
    same: bool
    """True: one lot. False: two."""
    basis: str
    """What the ruling rests on, in words; kept apart, for it may name a person."""
    at: datetime


def rule_on_lots(asked: RuleOnLots, *, site: Site) -> Done:
    """Record the ruling. It counts for questions from its moment on, in both directions.

    Raises:
        UnknownCode: no such product. BadValue: a text or the basis is missing. Nothing was
        written. Texts that do not look alike are recorded with a caution: there a ruling has no
        effect, for a slip of the hand must not clear a patient.
    """
    return answer_once(asked, _rule, site)


def _rule(asked: RuleOnLots, session: Session, site: Site) -> Done:
    for field, text in (("lot as captured", asked.captured), ("lot on the notice", asked.notice)):
        if not text.strip():
            raise BadValue(field=field, value=text, why="empty")
    if not asked.basis.strip():
        raise BadValue(field="what the ruling rests on", value="", why="empty")
    if session.get(Product, (site.id, asked.product_id)) is None:
        raise UnknownCode(what="product", value=str(asked.product_id))
    ledger = ledger_of(asked, session, site)
    at, noted = believed_moment(asked.at, now=ledger.now)
    if alike(asked.captured, asked.notice) is not Match.ALIKE:
        noted += ("lot-texts-not-alike",)
    body = {
        "product": asked.product_id,
        "captured": asked.captured,
        "notice": asked.notice,
        "same": asked.same,
        "basis": [keep_apart(session, asked.basis.strip(), at=ledger.now)],
        "device_at": asked.at,
        "cautions": noted,
    }
    return entered(
        ledger,
        Kind.LOT_RULED,
        body,
        at=at,
        subject=asked.product_id,
        facts={"captured": asked.captured, "notice": asked.notice, "same": asked.same},
    )
