"""What a notice is about, clause by clause, as makers write it; read from and written as JSON.

A scope is any of its clauses. A clause names products and says what must hold of their units (all
of its tests) and what must not (none of its exceptions). With these, "and", "or" and "except" of
any depth can be written, and each clause stays a sentence. Source of the kinds of tests: how
published recall notices state their scope; common practice, no source.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from enum import StrEnum
from typing import Any, Final

__all__ = [
    "DATED",
    "RANGES",
    "BadScope",
    "ProductRef",
    "Said",
    "Scope",
    "ScopeClause",
    "ScopeTest",
    "read_scope",
    "scope_json",
]


class Said(StrEnum):
    """What a clause can say of a unit."""

    LOTS = "lots"
    LOT_RANGE = "lot-range"
    SERIALS = "serials"
    SERIAL_RANGE = "serial-range"
    """Prefix to the letter, number by value, both ends included; either end may be open."""
    MADE = "made"
    EXPIRES = "expires"
    RECEIVED = "received"
    """By the hospital's own receipts, local days."""
    SHIPPED = "shipped"
    """By the maker's dispatch, where a delivery note says it."""
    SUPPLIER = "supplier"


DATED: Final = frozenset({Said.MADE, Said.EXPIRES, Said.RECEIVED, Said.SHIPPED})
RANGES: Final = frozenset({Said.LOT_RANGE, Said.SERIAL_RANGE, *DATED})
"""Said with two ends; the others list texts."""


LONGEST: Final = 400
"""Characters of one text. A GS1 lot or serial has 20 at most (GS1 General Specifications, sections
on AI (10) and AI (21)); the limit itself is a choice, no source."""


class BadScope(ValueError):
    """The JSON is no scope; the message says where and why."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ProductRef:
    """A product as the notice names it: by its code, or by maker and item number.

    A machine is named by its kind as well ("heater-cooler"), since the register has no codes.
    """

    standard: str = ""
    """gs1, hibc, isbt128 or ifa; empty where the notice prints no code."""
    identifier: str = ""
    """Of any packaging level, as the identifier engine gives it."""
    maker: str = ""
    item_number: str = ""
    kind: str = ""
    name: str = ""
    """As the notice calls it; for people, never compared."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ScopeTest:
    """One thing that is said of a unit."""

    kind: Said
    texts: tuple[str, ...] = ()
    """Lots, serials or suppliers, to the letter."""
    first: str | None = None
    """Lower end of a range; dates as YYYY-MM-DD. None: open."""
    last: str | None = None

    def days(self) -> tuple[date | None, date | None]:
        """Return both ends of a range of dates."""
        first, last = (None if end is None else date.fromisoformat(end) for end in self.ends)
        return first, last

    @property
    def ends(self) -> tuple[str | None, str | None]:
        """Both ends as written."""
        return (self.first, self.last)


@dataclass(frozen=True, slots=True, kw_only=True)
class ScopeClause:
    """Units of these products for which every test holds and no exception does."""

    products: tuple[ProductRef, ...]
    tests: tuple[ScopeTest, ...] = ()
    """None: every unit of the products."""
    excepted: tuple[ScopeTest, ...] = ()
    containing: bool = False
    """What is meant are the packs that contain one of the products."""
    used_from: datetime | None = None
    """Only use from then on counts; aware UTC."""
    used_to: datetime | None = None
    """Only use before then counts; aware UTC."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Scope:
    """Any of the clauses."""

    clauses: tuple[ScopeClause, ...]


def scope_json(scope: Scope) -> dict[str, Any]:
    """Return the scope as plain JSON, empty fields left out; `read_scope` reads it back."""
    return {"any_of": [_clause_json(clause) for clause in scope.clauses]}


def _clause_json(clause: ScopeClause) -> dict[str, Any]:
    made: dict[str, Any] = {
        "products": [
            {name: text for name in ProductRef.__slots__ if (text := getattr(ref, name))}
            for ref in clause.products
        ],
        "tests": [_test_json(test) for test in clause.tests],
        "except": [_test_json(test) for test in clause.excepted],
        "containing": clause.containing,
        "used_from": clause.used_from and clause.used_from.astimezone(UTC).isoformat(),
        "used_to": clause.used_to and clause.used_to.astimezone(UTC).isoformat(),
    }
    return {name: value for name, value in made.items() if value}


def _test_json(test: ScopeTest) -> dict[str, Any]:
    if test.kind in RANGES:
        ends = {"from": test.first, "to": test.last}
        return {"test": str(test.kind)} | {name: end for name, end in ends.items() if end}
    return {"test": str(test.kind), "texts": list(test.texts)}


def read_scope(given: object) -> Scope:
    """Return the scope that the JSON says.

    Raises:
        BadScope: it says none; the message names the place, as "any_of[0].tests[1].test".
    """
    clauses = [_clause(each, at) for at, each in _each(given, "any_of", "")]
    if not clauses:
        raise BadScope("any_of: a scope needs at least one clause")
    return Scope(clauses=tuple(clauses))


def _clause(given: object, at: str) -> ScopeClause:
    body = _object(given, at)
    refs = tuple(_ref(each, where) for where, each in _each(body, "products", at))
    if not refs:
        raise BadScope(f"{at}.products: a clause needs at least one product")
    containing = body.get("containing", False)
    if not isinstance(containing, bool):
        raise BadScope(f"{at}.containing: it is true or false, not {containing!r}")
    window = {name: _moment(body.get(name), f"{at}.{name}") for name in ("used_from", "used_to")}
    since, until = window["used_from"], window["used_to"]
    if since and until and until <= since:
        raise BadScope(f"{at}.used_to: it is not after used_from")
    return ScopeClause(
        products=refs,
        tests=tuple(_test(each, where) for where, each in _each(body, "tests", at)),
        excepted=tuple(_test(each, where) for where, each in _each(body, "except", at)),
        containing=containing,
        used_from=since,
        used_to=until,
    )


def _ref(given: object, at: str) -> ProductRef:
    body = _object(given, at)
    ref = ProductRef(
        **{name: _text(body.get(name, ""), f"{at}.{name}") for name in ProductRef.__slots__}
    )
    coded = bool(ref.standard and ref.identifier)
    if not coded and not (ref.maker and ref.item_number) and not ref.kind:
        raise BadScope(f"{at}: a product needs its code, its maker and item number, or its kind")
    return ref


def _test(given: object, at: str) -> ScopeTest:
    body = _object(given, at)
    kinds = [each.value for each in Said]
    if body.get("test") not in kinds:
        raise BadScope(f"{at}.test: {body.get('test')!r} is none of {', '.join(kinds)}")
    kind = Said(body["test"])
    if kind not in RANGES:
        texts = [_text(each, where) for where, each in _each(body, "texts", at)]
        if not texts or not all(texts):
            raise BadScope(f"{at}.texts: at least one text, none of them empty")
        return ScopeTest(kind=kind, texts=tuple(dict.fromkeys(texts)))
    first, last = (
        None if body.get(name) is None else _text(body[name], f"{at}.{name}")
        for name in ("from", "to")
    )
    test = ScopeTest(kind=kind, first=first or None, last=last or None)
    if kind in DATED:
        _check_days(test, at)
    return test


def _check_days(test: ScopeTest, at: str) -> None:
    try:
        first, last = test.days()
    except ValueError as error:
        raise BadScope(f"{at}: dates are written YYYY-MM-DD ({error})") from None
    if first is None and last is None:
        raise BadScope(f"{at}: a span of dates needs at least one end")
    if first is not None and last is not None and last < first:
        raise BadScope(f"{at}.to: it lies before from")


def _each(given: object, name: str, at: str) -> Iterator[tuple[str, object]]:
    place = f"{at}.{name}" if at else name
    found = _object(given, at or "scope").get(name, [])
    if isinstance(found, str) or not isinstance(found, Sequence):
        raise BadScope(f"{place}: a list is needed")
    for number, each in enumerate(found):
        yield f"{place}[{number}]", each


def _object(given: object, at: str) -> Mapping[str, Any]:
    if not isinstance(given, Mapping):
        raise BadScope(f"{at}: an object is needed, not {type(given).__name__}")
    return given


def _text(given: object, at: str) -> str:
    if not isinstance(given, str):
        raise BadScope(f"{at}: a text is needed, not {given!r}")
    if len(given) > LONGEST:
        raise BadScope(f"{at}: it has {len(given)} characters; {LONGEST} are the most")
    return given


def _moment(given: object, at: str) -> datetime | None:
    if given is None:
        return None
    try:
        moment = datetime.fromisoformat(_text(given, at))
    except ValueError as error:
        raise BadScope(f"{at}: {error}") from None
    if moment.tzinfo is None:
        raise BadScope(f"{at}: a moment needs its zone, as 2026-11-25T03:40+01:00")
    return moment.astimezone(UTC)
