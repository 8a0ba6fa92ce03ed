"""A line or cell in makers' words -> the lots and ranges it names.

"TA-0701, TA-0702 and TA-0705", "TA-0701 to TA-0720", "up to 0417", "Lot no. TA-0701", "all lots".
Ways of writing: as published notices do it; common practice, no source.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final

from traceability.domain.notice_scope import Said, ScopeTest
from traceability.domain.scope_draft import Doubt, Doubtful, NotRead
from traceability.domain.scopes import serial_parts
from traceability.exchange.texts import doubts_of, nothing_in

__all__ = ["Named", "is_label", "named_in", "range_of"]

_PLAIN_LOT: Final = re.compile(
    r"(?=[^-]*[0-9])[A-Za-z0-9]+(?:-[A-Za-z][A-Za-z0-9]*)?|[A-Za-z]+-[0-9]+"
)
"""Cannot be a list, a range or a label: most lots by far."""
LEAST_OF_TWO: Final = 3
"""Characters that a lot has at least, where a stroke may stand between two."""
SHORT: Final = 11
"""Characters up to which nothing can be doubtful about such a text."""
_EATEN: Final = re.compile(
    r"[0-9]+[eE][0-9]+|[0-9]{12,}|[0-9]{1,2}-[A-Za-z]+|[A-Za-z]{3,9}-[0-9]{2,4}"
)
_LABEL: Final = re.compile(
    r"[\s•·*]*(?:affected\s+|all\s+affected\s+)?(?:(?P<serials>serials?|s/n|sn|ser\.?)|lots?|batch(?:es)?|"
    r"lot\s*/\s*batch|charge|lote|lotto)"
    r"(?:\s*(?:numbers?|nos?\.?|nr\.?|codes?|n°|#))?(?:\s*[:=#]\s*|\s+)(?=\S)",
    re.IGNORECASE,
)
_BULLET: Final = re.compile(r"[-–—•·*]\s+")
_LISTED: Final = re.compile(
    r"\s*[;,\n\r\t]\s*(?:and\s+|und\s+|et\s+)?|\s+(?:and|und|et|&|\+)\s+", re.IGNORECASE
)
_BETWEEN: Final = re.compile(
    r"(?:from\s+|between\s+)?(?P<first>\S(?:.*?\S)?)\s*"
    r"(?:\s(?:up\s+to|up\s+through|to|through|thru|until|till|bis|à|and)\s+(?:and\s+including\s+)?|\s*[–—\u2212…]\s*|\.{2,3}|\s-\s)"
    r"\s*(?P<last>\S+?)(?:\s*,?\s*(?:inclusive|included|incl\.?|\(incl[a-z.]*\)))?",
    re.IGNORECASE,
)
_UP_TO: Final = re.compile(
    r"(?:up\s+to(?:\s+and\s+including)?|until|till|bis|≤|<=)\s*(?P<a>\S+)"
    r"|(?P<b>\S+)\s+(?:and|or)\s+(?:earlier|below|lower|before)",
    re.IGNORECASE,
)
_FROM: Final = re.compile(
    r"(?:from|starting\s+(?:with|from)|≥|>=)\s*(?P<a>\S+)(?:\s+on(?:wards?)?)?"
    r"|(?P<b>\S+)\s+(?:onwards?|(?:and|or)\s+(?:later|above|higher|after|up|following))",
    re.IGNORECASE,
)
_EVERY: Final = re.compile(
    r"(?:all|every|alle|tous|any)(?:\s+(?:lots?|batch(?:es)?|serials?|units?))?", re.IGNORECASE
)
_HALVES: Final = re.compile(
    r"(?P<head>.*?)(?P<low>[0-9]{3,})-(?P<mid>.*?)(?P<high>[0-9]{3,})", re.DOTALL
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Named:
    """One thing a text names: as read, and as it may be meant."""

    given: str
    tests: tuple[ScopeTest | None, ...] = ()
    """Ways to take it, as read first; None: every unit of the product."""
    doubts: tuple[Doubt, ...] = field(default=())
    why: NotRead | None = None


def is_label(text: str) -> bool:
    """Tell whether a text begins with a word like "Lot:" and names something after it."""
    return _LABEL.match(text) is not None


def named_in(text: str, *, serials: bool = False) -> Iterator[Named]:
    """Yield what a line or cell names, in its order."""
    text = text.strip(" \t\r\n")
    if bullet := _BULLET.match(text):
        text = text[bullet.end() :]
    label = _LABEL.match(text)
    if label is not None:
        text, serials = text[label.end() :].rstrip("."), serials or bool(label["serials"])
    if _PLAIN_LOT.fullmatch(text) and not _EATEN.fullmatch(text) and len(text) <= SHORT:
        yield Named(given=text, tests=(_list(serials, text),))
        return
    if between := re.fullmatch(r"between\s+(\S+)\s+and\s+(\S+)", text, re.IGNORECASE):
        yield range_of(text, between[1], between[2], serials=serials)
        return
    said = any(form.fullmatch(text) for form in (_EVERY, _UP_TO, _BETWEEN, _FROM))
    if nothing_in(text) is NotRead.WORDS and not said:
        yield Named(given=text, why=NotRead.WORDS)
        return
    for part in _parts(text):
        yield _named(part, serials)


def _parts(text: str) -> list[str]:
    if _UP_TO.fullmatch(text) or _FROM.fullmatch(text):
        return [text]
    return [part.strip(" \t•·") for part in _LISTED.split(text) if part.strip()] or [text]


def _named(text: str, serials: bool) -> Named:
    if _EVERY.fullmatch(text):
        return Named(given=text, tests=(None,), doubts=(Doubt(Doubtful.EVERY),))
    if found := _UP_TO.fullmatch(text):
        return range_of(text, None, found["a"] or found["b"], serials=serials)
    if found := _BETWEEN.fullmatch(text):
        made = range_of(text, found["first"], found["last"], serials=serials)
        dashed = re.fullmatch(r"[A-Za-z]+[–—\u2212][A-Za-z0-9]+", text) is not None
        # A long dash within one lot: copied texts often carry it for a hyphen.
        return _one(text, serials) if dashed else made
    if found := _FROM.fullmatch(text):
        return range_of(text, found["a"] or found["b"], None, serials=serials)
    if why := nothing_in(text):
        return Named(given=text, why=why)
    return _one(text, serials)


def _one(text: str, serials: bool) -> Named:
    tests, doubts = [_list(serials, text)], []
    for doubt, may_be in doubts_of(text):
        doubts.append(doubt)
        tests += (_list(serials, *each) for each in may_be)
    if (halves := _HALVES.fullmatch(text)) and _is_pair(halves):
        whole = halves["mid"] == halves["head"] and bool(halves["head"])
        last = (halves["mid"] if whole else halves["head"]) + halves["high"]
        doubts.append(Doubt(Doubtful.RANGE_OR_LOT))
        tests.append(_range(serials, halves["head"] + halves["low"], last))
    elif text.count("/") == 1 and "" not in (two := text.split("/")) and _alike_shape(*two):
        doubts.append(Doubt(Doubtful.LIST_OR_LOT))
        tests.append(_list(serials, *two))
    return Named(given=text, tests=tuple(dict.fromkeys(tests)), doubts=tuple(doubts))


def _is_pair(halves: re.Match[str]) -> bool:
    same = halves["mid"] in {"", halves["head"]} and len(halves["low"]) == len(halves["high"])
    return same and int(halves["low"]) < int(halves["high"])


def _alike_shape(one: str, other: str) -> bool:
    shape = [re.sub(r"[0-9]", "0", re.sub(r"[A-Za-z]", "A", each)) for each in (one, other)]
    return shape[0] == shape[1] and len(one) > LEAST_OF_TWO


def range_of(given: str, first: str | None, last: str | None, *, serials: bool) -> Named:
    """Return a range with these ends, and what is doubtful about it."""
    for end in (first, last):
        if end is not None and (why := nothing_in(end)):
            return Named(given=given, why=why)
    doubts: list[Doubt] = []
    for end in (first, last):
        found = [doubt for doubt, _ in doubts_of(end)] if end else []
        doubts += (each for each in found if each not in doubts)
    if first is not None and last is not None:
        low, high = serial_parts(first), serial_parts(last)
        if low[0] and not high[0] and high[1] is not None and len(last) <= len(first) - len(low[0]):
            last = first[: len(first) - len(last)] + last
            high = serial_parts(last)
            doubts.append(Doubt(Doubtful.SHORT_END, last))
        if low[0] != high[0] or low[1] is None or high[1] is None:
            doubts.append(Doubt(Doubtful.ENDS_UNLIKE))
        elif high[1] < low[1]:
            return Named(given=given, why=NotRead.EMPTY_RANGE)
    return Named(given=given, tests=(_range(serials, first, last),), doubts=tuple(doubts))


def _list(serials: bool, *texts: str) -> ScopeTest:
    return ScopeTest(kind=Said.SERIALS if serials else Said.LOTS, texts=texts)


def _range(serials: bool, first: str | None, last: str | None) -> ScopeTest:
    kind = Said.SERIAL_RANGE if serials else Said.LOT_RANGE
    return ScopeTest(kind=kind, first=first, last=last)
