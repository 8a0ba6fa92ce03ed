"""A scope in words: what a notice is about, one sentence a clause; and the question it makes."""

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Final
from zoneinfo import ZoneInfo

from traceability.domain.notice_scope import ProductRef, Said, Scope, ScopeClause, ScopeTest
from traceability.recall.question import ProductNamed

__all__ = [
    "product_words",
    "question_words",
    "scope_sentences",
    "scope_texts",
    "subject_words",
    "units_words",
]

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
    said = [_phrase(clause, zone, ()) for clause in scope.clauses]
    return [f"{_capital(words)}." for words in said]


def question_words(scope: Scope, products: Sequence[ProductNamed], zone: ZoneInfo) -> str:
    """Return the question as a sentence that names each product as the record knows it."""
    asked = "; or ".join(_phrase(clause, zone, products) for clause in scope.clauses)
    return f"Which circuits held {asked}, and who was connected to them?"


def subject_words(scope: Scope, products: Sequence[ProductNamed]) -> str:
    """Return the short name of the question for headers."""
    first = scope.clauses[0]
    more = f" and {len(scope.clauses) - 1} more" if len(scope.clauses) > 1 else ""
    units = [words for test in first.tests if (words := units_words(test))]
    return f"{_capital(units[0] if units else _product(first.products[0], products))}{more}"


def product_words(product: ProductNamed) -> str:
    """Return a product's name with its maker and item number."""
    if not product.known:
        named = " ".join(word for word in (product.maker, product.item_number) if word)
        return f"{named or f'code {product.identifier}'}, a product not known here"
    named = f"{product.name} of {product.maker}" if product.maker else product.name
    return f"{named}, item {product.item_number}" if product.item_number else named


def _capital(words: str) -> str:
    """Return the words with a large first letter; a lot's own letters stay as they are."""
    return f"{words[0].upper()}{words[1:]}"


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


def _phrase(clause: ScopeClause, zone: ZoneInfo, known: Sequence[ProductNamed]) -> str:
    units = [words for test in clause.tests if (words := units_words(test))]
    rest = [words for test in clause.tests if (words := _rest(test))]
    products = _listed([_product(ref, known) for ref in clause.products], "or")
    what = " with ".join(units) or "every unit"
    if clause.containing:
        said = f"packs that contain {what} of {products}"
    else:
        said = f"{what} of {products}"
    used = _used(clause.used_from, clause.used_to, zone)
    excepted = [f"except {units_words(test) or f'those {_rest(test)}'}" for test in clause.excepted]
    return ", ".join([said, *rest, *([used] if used else []), *excepted])


def _product(ref: ProductRef, known: Sequence[ProductNamed]) -> str:
    for product in known:
        if _is_it(ref, product):
            return product_words(product)
    called = ref.name or ref.kind.replace("-", " " if ref.kind != "heater-cooler" else "-")
    words = " ".join(word for word in (called, ref.item_number) if word)
    code = f"code {ref.identifier}" if ref.identifier else ""
    return ", ".join(word for word in (words or code, ref.maker, code if words else "") if word)


def _is_it(ref: ProductRef, product: ProductNamed) -> bool:
    if ref.identifier:
        return (product.standard, product.identifier) == (ref.standard, ref.identifier)
    said, of_product = (
        (ref.maker.casefold(), ref.item_number.casefold()),
        (product.maker.casefold(), product.item_number.casefold()),
    )
    return bool(ref.item_number) and said == of_product


def units_words(test: ScopeTest) -> str:
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
