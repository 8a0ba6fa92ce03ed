"""A clause as a person writes it into fields -> the scope's clauses, as rows of the preview.

All fields of a clause must hold; within a field of lots or serials any of the texts does, so a list
beside a range makes two clauses. What stands under "except" must not hold.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Final

from traceability.domain.notice_scope import ProductRef, Said, ScopeClause, ScopeTest
from traceability.domain.scope_draft import Doubt, Doubtful, Entry, Meaning, NotRead
from traceability.exchange.codes import product_code
from traceability.exchange.lot_words import named_in, range_of

__all__ = ["DATES", "FIELDS", "ClauseFields", "clause_rows"]

DATES: Final = {
    Said.MADE: "made",
    Said.EXPIRES: "expires",
    Said.RECEIVED: "received",
    Said.SHIPPED: "shipped",
}
TEXTS: Final = ((Said.LOTS, "lots"), (Said.SERIALS, "serials"))
TESTS: Final = (
    *(name for _, name in TEXTS),
    *(f"{name}_{end}" for _, name in TEXTS for end in ("from", "to")),
    *(f"{name}_{end}" for name in DATES.values() for end in ("from", "to")),
    "supplier",
)
FIELDS: Final = (
    "products",
    "maker",
    "item",
    "kind",
    "name",
    *TESTS,
    *(f"x_{name}" for name in TESTS),
)
"""Names of the text fields of one clause."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ClauseFields:
    """The fields of one clause as they were filled in."""

    texts: Mapping[str, str]
    containing: bool = False
    used_from: datetime | None = None
    """Aware."""
    used_to: datetime | None = None

    def text(self, name: str) -> str:
        """Return a field without blanks around it."""
        return self.texts.get(name, "").strip()

    @property
    def is_empty(self) -> bool:
        """Whether nothing at all was filled in."""
        used = self.containing or self.used_from or self.used_to
        return not used and not any(self.text(name) for name in FIELDS)

    @property
    def excepts(self) -> bool:
        """Whether anything stands under "except"."""
        return any(self.text(f"x_{name}") for name in TESTS)


class _Wrong(ValueError):
    """A field cannot be taken; `why` and `field` say which and how."""

    def __init__(self, why: NotRead, field: str) -> None:
        super().__init__(field)
        self.why, self.field = why, field


def clause_rows(
    clauses: Sequence[ClauseFields], *, of: ProductRef | None, today: date
) -> Iterator[Entry]:
    """Yield a row for each clause; one with a field that cannot be taken names that field."""
    for number, fields in enumerate(clauses, start=1):
        if fields.is_empty:
            continue
        place = f"clause {number}"
        try:
            yield from _rows(fields, place, of, today)
        except _Wrong as wrong:
            given = fields.text(wrong.field) or wrong.field
            yield Entry(place=place, given=given[:300], why=wrong.why, detail=wrong.field)


def _rows(fields: ClauseFields, place: str, of: ProductRef | None, today: date) -> Iterator[Entry]:
    doubts: list[Doubt] = []
    products = tuple(_products(fields, of, today, doubts))
    if not products:
        raise _Wrong(NotRead.NO_PRODUCT, "products")
    must, ways = _tests(fields, "", doubts)
    never, listed = _tests(fields, "x_", doubts)
    excepted = (*(test for way in listed for test in way), *never)
    for name, used in (("used_from", fields.used_from), ("used_to", fields.used_to)):
        if fields.text(name) and used is None:
            raise _Wrong(NotRead.NOT_A_MOMENT, name)
    if fields.used_from and fields.used_to and fields.used_to <= fields.used_from:
        raise _Wrong(NotRead.EMPTY_RANGE, "used_to")
    base = ScopeClause(
        products=products,
        excepted=excepted,
        containing=fields.containing,
        used_from=fields.used_from,
        used_to=fields.used_to,
    )
    combined: list[tuple[ScopeTest, ...]] = [()]
    for way in ways:
        combined = [(*before, test) for before in combined for test in way]
    if not must and not ways and not excepted and not fields.used_from and not fields.used_to:
        doubts.append(Doubt(Doubtful.EVERY))
    for at, tests in enumerate(combined, start=1):
        clause = replace(base, tests=(*tests, *must))
        yield Entry(
            place=place if at == 1 else f"{place}, part {at}",
            given=_given(fields),
            meanings=(Meaning(clause=clause),),
            doubts=tuple(dict.fromkeys(doubts)),
        )


def _given(fields: ClauseFields) -> str:
    said = [f"{name.removeprefix('x_')}: {text}" for name in FIELDS if (text := fields.text(name))]
    return "; ".join(" ".join(each.split()) for each in said)[:300]


def _products(
    fields: ClauseFields, of: ProductRef | None, today: date, doubts: list[Doubt]
) -> Iterator[ProductRef]:
    maker, item, kind, name = (fields.text(each) for each in ("maker", "item", "kind", "name"))
    codes = [line.strip() for line in fields.texts.get("products", "").splitlines() if line.strip()]
    for code in codes:
        read = product_code(code, today=today)
        if not read.products:
            raise _Wrong(NotRead.PRIVATE if read.private else NotRead.CODE, "products")
        doubts += read.doubts
        yield replace(read.products[0], maker=maker, item_number=item, kind=kind, name=name)
    if codes:
        return
    if (maker and item) or kind:
        yield ProductRef(maker=maker, item_number=item, kind=kind, name=name)
    elif item:
        raise _Wrong(NotRead.NO_MAKER, "item")
    elif of is not None:
        yield of


def _tests(
    fields: ClauseFields, before: str, doubts: list[Doubt]
) -> tuple[list[ScopeTest], list[list[ScopeTest]]]:
    """Return what must hold, and for each field of texts the ways in which it can."""
    ways: list[list[ScopeTest]] = []
    for kind, name in TEXTS:
        way = list(_texts(fields, before + name, kind is Said.SERIALS, doubts))
        if way:
            ways.append(way)
    must = []
    for kind, name in DATES.items():
        ends = [_day(fields, f"{before}{name}_{end}") for end in ("from", "to")]
        if any(ends):
            if all(ends) and str(ends[1]) < str(ends[0]):
                raise _Wrong(NotRead.EMPTY_RANGE, f"{before}{name}_to")
            must.append(ScopeTest(kind=kind, first=ends[0], last=ends[1]))
    suppliers = [each.strip() for each in fields.text(f"{before}supplier").splitlines()]
    if any(suppliers):
        named = tuple(dict.fromkeys(each for each in suppliers if each))
        must.append(ScopeTest(kind=Said.SUPPLIER, texts=named))
    return must, ways


def _texts(
    fields: ClauseFields, name: str, serials: bool, doubts: list[Doubt]
) -> Iterator[ScopeTest]:
    listed: list[str] = []
    ranges: list[ScopeTest] = []
    for line in fields.texts.get(name, "").splitlines():
        for each in named_in(line, serials=serials) if line.strip() else ():
            test = each.tests[0] if each.tests else None
            if each.why is not None or test is None:
                raise _Wrong(each.why or NotRead.WORDS, name)
            doubts += each.doubts
            if test.texts:
                listed += test.texts
            else:
                ranges.append(test)
    first, last = (fields.text(f"{name}_{end}") or None for end in ("from", "to"))
    if first or last:
        made = range_of(f"{first or ''} to {last or ''}", first, last, serials=serials)
        if made.why is not None or not made.tests or made.tests[0] is None:
            raise _Wrong(made.why or NotRead.EMPTY_RANGE, f"{name}_from")
        doubts += made.doubts
        ranges.append(made.tests[0])
    if listed:
        kind = Said.SERIALS if serials else Said.LOTS
        yield ScopeTest(kind=kind, texts=tuple(dict.fromkeys(listed)))
    yield from ranges


def _day(fields: ClauseFields, name: str) -> str | None:
    text = fields.text(name)
    try:
        return date.fromisoformat(text).isoformat() if text else None
    except ValueError:
        raise _Wrong(NotRead.NOT_A_DAY, name) from None
