"""The scope of a notice in words: each clause a phrase that names its products first."""

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Final
from zoneinfo import ZoneInfo

from traceability.domain.notice_scope import ProductRef, Said, Scope, ScopeClause, ScopeTest
from traceability.recall.question import ProductNamed

__all__ = ["asked_words", "product_words", "question_words", "said_words", "subject_words"]

MOST_LISTED: Final = 12
"""Lots or serials that a sentence lists; the rest is counted."""

_LISTED: Final = {Said.LOTS: "lot", Said.SERIALS: "serial", Said.SUPPLIER: "supplier"}
_SPANS: Final = {
    Said.LOT_RANGE: "lots",
    Said.SERIAL_RANGE: "serials",
    Said.MADE: "made",
    Said.EXPIRES: "expiring",
    Said.RECEIVED: "received here",
    Said.SHIPPED: "sent by the maker",
}


def question_words(scope: Scope, products: Sequence[ProductNamed], zone: ZoneInfo) -> str:
    """Return the question as a sentence that names each product with what is asked of it."""
    return (
        f"Which circuits held {asked_words(scope, products, zone)}, and who was connected to them?"
    )


def asked_words(scope: Scope, products: Sequence[ProductNamed], zone: ZoneInfo) -> str:
    """Return all clauses as phrases, in their order."""
    return "; or ".join(_clause_words(clause, products, zone) for clause in scope.clauses)


def subject_words(scope: Scope, products: Sequence[ProductNamed]) -> str:
    """Return the short name of the question for headers."""
    first = scope.clauses[0]
    more = f" and {len(scope.clauses) - 1} more" if len(scope.clauses) > 1 else ""
    for test in first.tests:
        if test.kind in _LISTED:
            said = said_words(test, most=3)
            return f"{said[0].upper()}{said[1:]}{more}"
    return f"{_ref_words(first.products[0], products)}{more}"


def product_words(product: ProductNamed) -> str:
    """Return a product's name with its maker and item number."""
    if not product.known:
        named = " ".join(word for word in (product.maker, product.item_number) if word)
        return f"{named or f'code {product.identifier}'}, a product not known here"
    named = f"{product.name} of {product.maker}" if product.maker else product.name
    return f"{named}, item {product.item_number}" if product.item_number else named


def said_words(test: ScopeTest, *, most: int = MOST_LISTED) -> str:
    """Return one test as a phrase: "lots TA-0701, TA-0702", "made 2026-01-01 to 2026-02-28"."""
    if test.kind in _LISTED:
        word = _LISTED[test.kind]
        shown = ", ".join(test.texts[:most])
        beyond = len(test.texts) - most
        more = f" and {beyond} more" if beyond > 0 else ""
        return f"{word}{'' if len(test.texts) == 1 else 's'} {shown}{more}"
    word = _SPANS[test.kind]
    if test.first is None:
        return f"{word} up to {test.last}" if test.last else f"all {word}"
    return f"{word} {test.first} {f'to {test.last}' if test.last else 'and later'}"


def _clause_words(clause: ScopeClause, products: Sequence[ProductNamed], zone: ZoneInfo) -> str:
    names = _either(_ref_words(ref, products) for ref in clause.products)
    named = f"packs that contain {names}" if clause.containing else names
    said = [said_words(test) for test in clause.tests]
    said = said or ["every serial" if _are_machines(clause) else "any lot"]
    except_for = [f"except {said_words(test)}" for test in clause.excepted]
    return ", ".join([named, *said, *except_for, *_window_words(clause, zone)])


def _are_machines(clause: ScopeClause) -> bool:
    return all(ref.kind and not ref.identifier for ref in clause.products)


def _window_words(clause: ScopeClause, zone: ZoneInfo) -> list[str]:
    since, until = clause.used_from, clause.used_to
    if since and until:
        return [f"in use from {_moment(since, zone)} to {_moment(until, zone)}"]
    if since:
        return [f"in use since {_moment(since, zone)}"]
    return [f"in use before {_moment(until, zone)}"] if until else []


def _moment(at: datetime, zone: ZoneInfo) -> str:
    return f"{at.astimezone(zone):%Y-%m-%d %H:%M %Z}"


def _ref_words(ref: ProductRef, products: Sequence[ProductNamed]) -> str:
    for product in products:
        same_code = (product.standard, product.identifier) == (ref.standard, ref.identifier)
        same_item = (product.maker.casefold(), product.item_number.casefold()) == (
            ref.maker.casefold(),
            ref.item_number.casefold(),
        )
        if (ref.identifier and same_code) or (not ref.identifier and ref.item_number and same_item):
            return product_words(product)
    named = [word for word in (ref.name or ref.kind, ref.maker and f"of {ref.maker}") if word]
    named += [f"item {ref.item_number}"] if ref.item_number else []
    named += [f"code {ref.identifier}"] if ref.identifier else []
    return ", ".join(named) if ref.identifier or ref.item_number else " ".join(named)


def _either(words: Iterable[str]) -> str:
    return " or ".join(words)
