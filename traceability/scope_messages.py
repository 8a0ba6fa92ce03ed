"""A scope in sentences: what a notice is about, one sentence a clause."""

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Final
from zoneinfo import ZoneInfo

from traceability.domain.notice_scope import ProductRef, Said, Scope, ScopeClause, ScopeTest

__all__ = ["scope_sentences", "scope_texts"]

MOST: Final = 12
"""Texts that a sentence names; how many more there are is said."""

_NAMES: Final = {
    Said.LOTS: ("lot", "lots"),
    Said.SERIALS: ("serial", "serials"),
}
_RANGES: Final = {
    Said.LOT_RANGE: "lots",
    Said.SERIAL_RANGE: "serials",
}
_DATED: Final = {
    Said.MADE: "made",
    Said.EXPIRES: "expiring",
    Said.RECEIVED: "received here",
    Said.SHIPPED: "sent out by the maker",
}


def scope_sentences(scope: Scope, zone: ZoneInfo) -> list[str]:
    """Return one sentence a clause; together they are the scope, any of them."""
    return [_sentence(clause, zone) for clause in scope.clauses]


def scope_texts(scope: Scope) -> list[str]:
    """Return every lot and serial that the scope names, in its order, each once."""
    named = (
        text
        for clause in scope.clauses
        for test in (*clause.tests, *clause.excepted)
        if test.kind in _NAMES
        for text in test.texts
    )
    return list(dict.fromkeys(named))


def _sentence(clause: ScopeClause, zone: ZoneInfo) -> str:
    units = [words for test in clause.tests if (words := _units(test))]
    rest = [words for test in clause.tests if (words := _rest(test))]
    products = _listed([_product(ref) for ref in clause.products], "or")
    what = " with ".join(units) or "every unit"
    if clause.containing:
        said = f"Packs that contain {what} of {products}"
    else:
        said = f"{what[0].upper()}{what[1:]} of {products}"
    used = _used(clause.used_from, clause.used_to, zone)
    excepted = [f"except {_units(test) or f'those {_rest(test)}'}" for test in clause.excepted]
    return f"{', '.join([said, *rest, *([used] if used else []), *excepted])}."


def _product(ref: ProductRef) -> str:
    called = ref.name or ref.kind.replace("-", " " if ref.kind != "heater-cooler" else "-")
    words = " ".join(word for word in (called, ref.item_number) if word)
    code = f"code {ref.identifier}" if ref.identifier else ""
    return ", ".join(word for word in (words or code, ref.maker, code if words else "") if word)


def _units(test: ScopeTest) -> str:
    """Return which units, by lot or serial; empty for a test of another kind."""
    if test.kind in _NAMES:
        one, many = _NAMES[test.kind]
        return f"{one if len(test.texts) == 1 else many} {_listed(test.texts, 'and')}"
    if test.kind in _RANGES:
        name = _RANGES[test.kind]
        if test.first and test.last:
            return f"{name} {test.first} to {test.last}"
        return f"{name} from {test.first} on" if test.first else f"{name} up to {test.last}"
    return ""


def _rest(test: ScopeTest) -> str:
    """Return what else is said of the units; empty for lots and serials."""
    if test.kind is Said.SUPPLIER:
        return f"supplied by {_listed(test.texts, 'or')}"
    word = _DATED.get(test.kind)
    if word is None:
        return ""
    if test.first and test.last:
        return f"{word} {test.first} to {test.last}"
    return f"{word} {test.first} or later" if test.first else f"{word} {test.last} or earlier"


def _used(since: datetime | None, until: datetime | None, zone: ZoneInfo) -> str:
    ends = [f"{at.astimezone(zone):%Y-%m-%d %H:%M %Z}" if at else "" for at in (since, until)]
    if all(ends):
        return f"in use from {ends[0]} to {ends[1]}"
    return f"in use from {ends[0]} on" if ends[0] else f"in use before {ends[1]}" * bool(ends[1])


def _listed(texts: Sequence[str] | Iterable[str], word: str) -> str:
    """Return "A, B and C"; of many the first, and how many more."""
    given = list(texts)
    shown = given if len(given) <= MOST else [*given[:MOST], f"{len(given) - MOST} more"]
    if len(shown) == 1:
        return shown[0]
    last = "and" if len(given) > MOST else word
    return f"{', '.join(shown[:-1])} {last} {shown[-1]}"
