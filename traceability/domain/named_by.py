"""Whether a piece in somebody's hand is one of those that a notice means.

Asked at the trolley, before anything was put in: so there is no circuit, no run and no time of use
yet. What cannot be told from the code and the book is *alike*: a person looks. Which texts are
alike and which spans hold a date is `domain.scopes`'.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Final

from traceability.domain.notice_scope import DATED, ProductRef, Said, Scope, ScopeClause, ScopeTest
from traceability.domain.scopes import Match, in_dates, in_serial_range, loose_key, shipped_in

__all__ = ["Asking", "Came", "Item", "asking", "named"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Came:
    """One delivery of the lot, or of the very piece."""

    received: date
    """Local day."""
    shipped: date | None = None
    made: date | None = None
    supplier: str | None = None
    """None: nobody wrote it down."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """The piece, as far as its code and the book know it."""

    codes: frozenset[tuple[str, str]]
    """Standard and identifier of its product, of every packaging level."""
    maker: str
    item_number: str
    kind: str
    lot: str | None = None
    serial: str | None = None
    expiry: date | None = None
    made: date | None = None
    came: tuple[Came, ...] = ()
    """Deliveries of its lot; none: the book knows of none."""
    rulings: Mapping[tuple[str, str], bool] = field(default_factory=dict)
    """Lot as captured and as on a notice, and whether a person ruled that they are the same."""
    inside: tuple["Item", ...] = ()
    """What makers stated to be inside this very pack."""
    may_hold: frozenset[tuple[str, str]] = frozenset()
    """Codes of products that packs of this product hold, where the maker did not say of this one
    which lot of them."""


@dataclass(frozen=True, slots=True)
class _Test:
    """A test made ready: long lists of texts are looked up and never run through."""

    asked: ScopeTest
    texts: frozenset[str]
    keys: Mapping[str, tuple[str, ...]]
    """Texts by their looser key."""


@dataclass(frozen=True, slots=True)
class _Clause:
    clause: ScopeClause
    tests: tuple[_Test, ...]
    excepted: tuple[_Test, ...]


@dataclass(frozen=True, slots=True)
class Asking:
    """A notice's scope, made ready to be asked piece by piece."""

    clauses: tuple[_Clause, ...]

    def may_name(self, item: Item) -> bool:
        """Tell whether a clause is about the product at all: else nothing has to be looked up."""
        products = (item, *item.inside)
        return any(
            _is_meant(ref, each) or (ref.standard, ref.identifier) in item.may_hold
            for clause in self.clauses
            for ref in clause.clause.products
            for each in products
        )


def asking(scope: Scope) -> Asking:
    """Return the scope, made ready."""
    return Asking(
        tuple(
            _Clause(
                clause,
                tuple(_ready(test) for test in clause.tests),
                tuple(_ready(test) for test in clause.excepted),
            )
            for clause in scope.clauses
        )
    )


def _ready(test: ScopeTest) -> _Test:
    keys: dict[str, tuple[str, ...]] = {}
    if test.kind in {Said.LOTS, Said.SERIALS}:
        for text in test.texts:
            key = loose_key(text)
            keys[key] = (*keys.get(key, ()), text)
    return _Test(test, frozenset(test.texts), keys)


def named(scope: Asking, item: Item, at: datetime) -> Match:
    """Return whether the scope means this piece, if it is used from `at` (aware UTC) on."""
    return _best(_clause(each, item, at) for each in scope.clauses)


_ORDER: Final = (Match.OUT, Match.ALIKE, Match.IN)


def _best(found: Iterable[Match]) -> Match:
    return max(found, key=_ORDER.index, default=Match.OUT)


def _worst(found: Iterable[Match]) -> Match:
    return min(found, key=_ORDER.index, default=Match.IN)


def _clause(each: _Clause, item: Item, at: datetime) -> Match:
    until = each.clause.used_to
    if until is not None and until <= at:
        return Match.OUT
    pieces = item.inside if each.clause.containing else (item, *item.inside)
    meant = (one for one in pieces if any(_is_meant(ref, one) for ref in each.clause.products))
    found = _best(_units(each, one) for one in meant)
    if found is Match.OUT and any(
        (ref.standard, ref.identifier) in item.may_hold for ref in each.clause.products
    ):
        return Match.ALIKE  # which lot of it lies inside this pack, nobody has said
    return found


def _is_meant(ref: ProductRef, item: Item) -> bool:
    if (ref.standard, ref.identifier) in item.codes:
        return True
    maker = ref.maker.casefold() == item.maker.casefold()
    if ref.maker and ref.item_number:
        return maker and ref.item_number.casefold() == item.item_number.casefold()
    return bool(ref.kind) and ref.kind == item.kind and (maker or not ref.maker)


def _units(each: _Clause, item: Item) -> Match:
    holds = _worst(_test(test, item) for test in each.tests)
    spared = _best(_test(test, item) for test in each.excepted)
    if spared is Match.IN:
        return Match.OUT
    return _worst((holds, Match.ALIKE)) if spared is Match.ALIKE else holds


def _test(test: _Test, item: Item) -> Match:
    asked = test.asked
    if asked.kind in DATED:
        return _dated(asked, item)
    match asked.kind:
        case Said.LOTS:
            return _ruled(test, item)
        case Said.SERIALS:
            return _among(test, item.serial)
        case Said.LOT_RANGE:
            return _in_range(item.lot, asked)
        case Said.SERIAL_RANGE:
            return _in_range(item.serial, asked)
        case _:
            return _of_deliveries(item.came, lambda one: _from(one.supplier, test.texts))


def _dated(asked: ScopeTest, item: Item) -> Match:
    first, last = asked.days()
    if asked.kind is Said.EXPIRES:
        return in_dates(item.expiry, first, last) or Match.ALIKE
    if asked.kind is Said.MADE:
        own = in_dates(item.made, first, last)
        return own or _of_deliveries(item.came, lambda one: in_dates(one.made, first, last))
    if asked.kind is Said.RECEIVED:
        return _of_deliveries(item.came, lambda one: in_dates(one.received, first, last))
    return _of_deliveries(item.came, lambda one: shipped_in(one.shipped, one.received, first, last))


def _among(test: _Test, text: str | None) -> Match:
    if text is None:
        return Match.ALIKE
    if text in test.texts:
        return Match.IN
    return Match.ALIKE if loose_key(text) in test.keys else Match.OUT


def _ruled(test: _Test, item: Item) -> Match:
    """Compare the lot, and what a person has ruled of texts that are only alike."""
    found = _among(test, item.lot)
    if found is not Match.ALIKE or item.lot is None:
        return found
    ruled = [item.rulings.get((item.lot, text)) for text in test.keys[loose_key(item.lot)]]
    if True in ruled:
        return Match.IN
    return Match.OUT if all(each is False for each in ruled) else Match.ALIKE


def _in_range(text: str | None, asked: ScopeTest) -> Match:
    return Match.ALIKE if text is None else in_serial_range(text, asked.first, asked.last)


def _from(supplier: str | None, texts: frozenset[str]) -> Match | None:
    if supplier is None:
        return None
    return Match.IN if supplier in texts else Match.OUT


def _of_deliveries(came: Sequence[Came], judge: Callable[[Came], Match | None]) -> Match:
    """Return what all deliveries of the lot agree on; *alike*: which one it came with decides."""
    found = {judge(one) or Match.ALIKE for one in came}
    return found.pop() if len(found) == 1 else Match.ALIKE
