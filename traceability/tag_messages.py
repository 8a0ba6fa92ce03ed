"""What is said of a tag's text: who made it, and what it is worth."""

from collections.abc import Mapping
from typing import Final

from traceability.domain.part_labels import read_part
from traceability.domain.tags import OwnSymbol, SymbolKind, read_symbol, site_and_name
from traceability.domain.trials import READ_BACK, Trial, judge_trial
from traceability.reads.lists import PlaceFacts, SiteFacts
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


NOT_DRAWN: Final = (
    "Not printed: this label would not read as what it is to say. Write it by hand, and tell who "
    "looks after the labels."
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


_TRIALS: Final[Mapping[Trial, str]] = {
    Trial.WHOLE: "Read whole: this symbol of the sheet came as it is printed. Scan the next.",
    Trial.SEPARATOR_LOST: "The separator was lost on the way: lots and serials will run together. "
    "Set the scanner to send it (GS, character 29), or F8 in its place.",
    Trial.CASE_CHANGED: "Capitals and small letters were changed: lots will come wrong. Switch "
    "Caps Lock off, here and in the scanner.",
    Trial.CHANGED: "Characters came as others: scanner and keyboard do not have the same layout. "
    "Set the scanner to the layout of this keyboard.",
}
_KINDS: Final[Mapping[SymbolKind, str]] = {
    SymbolKind.CIRCUIT: "the tag of circuit {name}",
    SymbolKind.ACT: "the act card {name}",
    SymbolKind.PLACE: "the place {name}",
    SymbolKind.BADGE: "a badge",
    SymbolKind.PART: "a part label: {name}",
    SymbolKind.FORM: "a form: {name}",
}


_DUTIES: Final = {"mounted": "ready, mounted", "boxed": "ready, boxed"}


def place_label(place: PlaceFacts, site: SiteFacts) -> Mapping[str, str]:
    """Return what a place's label says."""
    return {
        "code": place.code,
        "name": place.name,
        "duty": _DUTIES.get(place.stands_for or "", ""),
        "unit": f"{site.name}, {site.unit}",
    }


def say_read_back(text: str, site_code: str, stated: TagTextFacts | None) -> str:
    """Return what a label that was just printed reads as, and whether it is whole."""
    if stated is not None:
        return f"Read whole: the symbol for phones of {stated.read.number}. {say_tag_text(stated)}"
    own, trial = read_symbol(text), judge_trial(text)
    ruler = isinstance(own, OwnSymbol) and own.body == READ_BACK
    if trial is not None and not ruler:
        return _TRIALS[trial]
    if not isinstance(own, OwnSymbol):
        return (
            "This is no label of ours, or only half of it was read. Scan it again. Still so? "
            "Print it again at 100 %, and clean the printer's head."
        )
    if own.kind is SymbolKind.ACT and own.body == READ_BACK:
        return (
            "Read whole: this printer draws two dots cleanly and this scanner sees them. Now lay a "
            "ruler on the line: 79.6 to 80.4 mm is right."
        )
    code, name = site_and_name(own.body)
    if own.kind in {SymbolKind.ACT, SymbolKind.BADGE}:
        code, name = site_code, own.body
    part = read_part(own)
    shown = f"{part.item}, lot {part.lot}" if part else name
    said = _KINDS.get(own.kind, "{name}").format(name=shown)
    capitals = " Caps Lock is on at this keyboard: lots will come wrong." if own.caps_lock else ""
    elsewhere = "" if code == site_code else " It is not of this site: a sample, or another's."
    return f"Read whole: {said}.{elsewhere}{capitals}"
