"""What the text of a tag's second symbol says, and who says so."""

from dataclasses import dataclass
from enum import StrEnum
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.domain.tag_contents import ContentsRead, read_contents
from traceability.reads.lists import TagKeyFacts, site_facts, tag_keys
from traceability.security.tag_keys import signed_by


class Says(StrEnum):
    """Who stands behind a text that is whole."""

    OURS = "ours"
    KNOWN = "known"
    """A site whose key was compared and recorded here."""
    WITHDRAWN = "withdrawn"
    """The key was recorded here, and is no longer believed."""
    UNKNOWN = "unknown"
    """Signed with a key that nobody recorded here."""
    UNSIGNED = "unsigned"


@dataclass(frozen=True, slots=True, kw_only=True)
class TagTextFacts:
    """A whole text and who says so."""

    read: ContentsRead
    says: Says
    site: str
    """Name and unit of the site whose key verified it; empty where none did."""


def tag_text_facts(
    session: Session, site_id: UUID, text: str, *, own_key: bytes
) -> TagTextFacts | None:
    """Return what the text says; None: it is no such text, or not whole."""
    read = read_contents(text)
    if read is None:
        return None
    if read.signature is None:
        return TagTextFacts(read=read, says=Says.UNSIGNED, site="")
    known = {bytes.fromhex(key.public_key): key for key in tag_keys(session, site_id)}
    made_with = signed_by(read.signed_text, read.signature, [own_key, *known])
    if made_with == own_key:
        site = site_facts(session)
        return TagTextFacts(read=read, says=Says.OURS, site=f"{site.name}, {site.unit}")
    key = known.get(made_with) if made_with is not None else None
    return TagTextFacts(read=read, says=_says(key), site=f"{key.name}, {key.unit}" if key else "")


def _says(key: TagKeyFacts | None) -> Says:
    if key is None:
        return Says.UNKNOWN
    return Says.KNOWN if key.active else Says.WITHDRAWN
