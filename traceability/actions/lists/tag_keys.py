"""Other sites' public keys: believed after their fingerprint was compared, or withdrawn."""

from dataclasses import dataclass
from typing import ClassVar

from sqlalchemy.orm import Session

from traceability.actions.once import Asked, Done, Site, answer_once
from traceability.actions.single import one_event
from traceability.domain.events import Kind
from traceability.domain.people import Right
from traceability.errors import BadValue, UnknownCode
from traceability.security.tag_keys import fingerprint
from traceability.storage.site import TagKey


@dataclass(frozen=True, slots=True, kw_only=True)
class BelieveTagKey(Asked):
    """Verify another site's tags with this key from now on."""

    kind: ClassVar[str] = "believe-tag-key"
    right: ClassVar[Right | None] = Right.ADMIN
    public_key: str
    """64 hexadecimal digits."""
    name: str
    unit: str
    code: str
    fingerprint: str
    """As the other site read it out; blanks and case do not count."""


def believe_tag_key(asked: BelieveTagKey, *, site: Site) -> Done:
    """Record the key.

    Raises:
        BadValue: the fingerprint is another key's. Nothing was written.
    """
    return answer_once(asked, _believe, site)


def _believe(asked: BelieveTagKey, session: Session, site: Site) -> Done:
    if _bare(asked.fingerprint) != _bare(fingerprint(bytes.fromhex(asked.public_key))):
        raise BadValue(field="fingerprint", value=asked.fingerprint, why="other-key")
    body = {
        "public_key": asked.public_key,
        "name": asked.name,
        "unit": asked.unit,
        "code": asked.code,
        "active": True,
    }
    return one_event(asked, session, site, Kind.TAG_KEY_SET, body)


@dataclass(frozen=True, slots=True, kw_only=True)
class WithdrawTagKey(Asked):
    """Believe a key no longer: the other site lost it, or it was not theirs."""

    kind: ClassVar[str] = "withdraw-tag-key"
    right: ClassVar[Right | None] = Right.ADMIN
    public_key: str


def withdraw_tag_key(asked: WithdrawTagKey, *, site: Site) -> Done:
    """Record that the key is no longer believed.

    Raises:
        UnknownCode: no such key.
    """
    return answer_once(asked, _withdraw, site)


def _withdraw(asked: WithdrawTagKey, session: Session, site: Site) -> Done:
    stored = session.get(TagKey, (site.id, asked.public_key))
    if stored is None:
        raise UnknownCode(what="key", value=fingerprint(bytes.fromhex(asked.public_key)))
    body = {
        "public_key": stored.public_key,
        "name": stored.name,
        "unit": stored.unit,
        "code": stored.code,
        "active": False,
    }
    return one_event(asked, session, site, Kind.TAG_KEY_SET, body)


def _bare(text: str) -> str:
    return "".join(text.split()).upper()
