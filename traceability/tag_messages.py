"""What is said of a tag's text: who made it, and what it is worth."""

from collections.abc import Mapping
from typing import Final

from traceability.reads.tag_texts import Says, TagTextFacts

_SAYS: Final[Mapping[Says, str]] = {
    Says.OURS: "This tag was made here, by {site}. Nothing in it was changed.",
    Says.KNOWN: "This tag was made by {site}. Nothing in it was changed.",
    Says.WITHDRAWN: "This tag is signed with a key of {site} that was withdrawn here. Take it as "
    "stated by a site we do not know, and ring {site}.",
    Says.UNKNOWN: "Stated by a site we do not know. The text is as it was printed; who made it "
    "cannot be verified here. Ring the number on the tag.",
    Says.UNSIGNED: "This tag is not signed. The text is as it was printed; who made it cannot be "
    "verified. Ring the number on the tag.",
}

NOT_WHOLE: Final = (
    "This is not the whole text of a tag, or a character in it was changed. Scan the large square "
    "symbol again, or read the tag itself."
)


def say_tag_text(facts: TagTextFacts) -> str:
    """Return who says what stands in a tag's text."""
    practice = "A practice tag, not for a patient. " if facts.read.practice else ""
    return practice + _SAYS[facts.says].format(site=facts.site)


def say_listed(facts: TagTextFacts) -> str:
    """Return how much of the contents the text lists."""
    read = facts.read
    if not read.of:
        return "What is in it was not recorded when the tag was printed."
    if len(read.items) == read.of:
        return f"It lists all {read.of} items that were in it when the tag was printed."
    left = read.of - len(read.items)
    return (
        f"It lists {len(read.items)} of {read.of} items. {left} did not fit the tag: no lot can be "
        "excluded by this list."
    )
