"""What a scope says against itself: clauses that match nothing, everything, or each other."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from traceability.domain.notice_scope import DATED, Said, Scope, ScopeClause, ScopeTest
from traceability.domain.scopes import Match, in_serial_range, loose_key, serial_parts

__all__ = ["Finding", "Found", "check_scope"]

LISTS = {Said.LOT_RANGE: Said.LOTS, Said.SERIAL_RANGE: Said.SERIALS}


class Finding(StrEnum):
    """What is to be looked at."""

    NOTHING_LEFT = "nothing-left"
    """All that is asked for is excepted again."""
    NO_OVERLAP = "no-overlap"
    """Two tests of the clause cannot both hold."""
    EMPTY_RANGE = "empty-range"
    ENDS_UNLIKE = "ends-unlike"
    NO_ENDS = "no-ends"
    EVERY_UNIT = "every-unit"
    EVERYTHING = "everything"
    SAME_CLAUSE = "same-clause"
    EXCEPTED_ELSEWHERE = "excepted-elsewhere"
    ALIKE_WITHIN = "alike-within"


MATCH_NOTHING = frozenset({Finding.NOTHING_LEFT, Finding.NO_OVERLAP, Finding.EMPTY_RANGE})


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """One finding, in which clause."""

    finding: Finding
    clause: int
    """0-based."""
    texts: tuple[str, ...] = ()
    other: int | None = None
    """The other clause, where there is one."""

    @property
    def matches_nothing(self) -> bool:
        """Whether no unit can ever fit the clause."""
        return self.finding in MATCH_NOTHING


def check_scope(scope: Scope) -> tuple[Found, ...]:
    """Return all findings, clause by clause."""
    found: list[Found] = []
    first: dict[ScopeClause, int] = {}
    for at, clause in enumerate(scope.clauses):
        found += (Found(finding=what, clause=at, texts=texts) for what, texts in _within(clause))
        like = first.setdefault(clause, at)
        if like != at:
            found.append(Found(finding=Finding.SAME_CLAUSE, clause=at, other=like))
    found += _across(scope)
    return tuple(found)


def _within(clause: ScopeClause) -> Iterator[tuple[Finding, tuple[str, ...]]]:
    for test in (*clause.tests, *clause.excepted):
        yield from _range_alone(test)
    for test in clause.tests:
        if test in clause.excepted or _all_excepted(test, clause.excepted):
            yield Finding.NOTHING_LEFT, _texts_of(test)
    for at, one in enumerate(clause.tests):
        for other in clause.tests[at + 1 :]:
            if _apart(one, other) or _apart(other, one):
                yield Finding.NO_OVERLAP, (*_texts_of(one), *_texts_of(other))
    if not clause.tests:
        bare = all(not ref.identifier and not ref.item_number for ref in clause.products)
        whole = Finding.EVERYTHING if bare and not clause.used_from else Finding.EVERY_UNIT
        yield whole, tuple(ref.kind for ref in clause.products if ref.kind)
    for test in clause.tests:
        alike = _alike_within(test)
        if alike:
            yield Finding.ALIKE_WITHIN, alike


def _texts_of(test: ScopeTest) -> tuple[str, ...]:
    return test.texts[:3] or tuple(end for end in test.ends if end)


def _range_alone(test: ScopeTest) -> Iterator[tuple[Finding, tuple[str, ...]]]:
    first, last = test.first, test.last
    if test.kind in LISTS:
        if first is None and last is None:
            yield Finding.NO_ENDS, ()
        elif first is not None and last is not None:
            low, high = serial_parts(first), serial_parts(last)
            if low[0] != high[0] or low[1] is None or high[1] is None:
                yield Finding.ENDS_UNLIKE, (first, last)
            elif high[1] < low[1]:
                yield Finding.EMPTY_RANGE, (first, last)
    elif test.kind in DATED and first and last and last < first:
        yield Finding.EMPTY_RANGE, (first, last)


def _all_excepted(test: ScopeTest, excepted: tuple[ScopeTest, ...]) -> bool:
    if test.texts:
        left = set(test.texts)
        for other in excepted:
            if other.kind is test.kind:
                left -= set(other.texts)
            elif LISTS.get(other.kind) is test.kind:
                left = {each for each in left if in_serial_range(each, *other.ends) is not Match.IN}
        return not left
    return any(other.kind is test.kind and _covers(other, test) for other in excepted)


def _covers(outer: ScopeTest, inner: ScopeTest) -> bool:
    if outer.kind in DATED:
        low, high = _span(outer)
        first, last = _span(inner)
        return low <= first and last <= high
    ends = [end for end in inner.ends if end is not None]
    open_ok = all(o is None or i is not None for o, i in zip(outer.ends, inner.ends, strict=True))
    return bool(ends) and open_ok and all(in_serial_range(e, *outer.ends) is Match.IN for e in ends)


def _apart(one: ScopeTest, other: ScopeTest) -> bool:
    """Tell whether no unit can meet both."""
    if one.texts and one.kind is other.kind and one.kind is not Said.SUPPLIER:
        return not set(one.texts) & set(other.texts)
    if one.texts and LISTS.get(other.kind) is one.kind:
        return all(in_serial_range(each, *other.ends) is Match.OUT for each in one.texts)
    if one.kind in DATED and one.kind is other.kind:
        (low, high), (first, last) = _span(one), _span(other)
        return high < first or last < low
    if {one.kind, other.kind} == {Said.MADE, Said.EXPIRES}:
        made, expires = (one, other) if one.kind is Said.MADE else (other, one)
        return _span(expires)[1] < _span(made)[0]  # nothing expires before it is made
    return False


def _span(test: ScopeTest) -> tuple[date, date]:
    first, last = test.days()
    return first or date.min, last or date.max


def _alike_within(test: ScopeTest) -> tuple[str, ...]:
    """Return the first texts of a list that only a looser look takes for one."""
    first: dict[str, str] = {}
    for text in test.texts if test.kind in {Said.LOTS, Said.SERIALS} else ():
        like = first.setdefault(loose_key(text), text)
        if like != text:
            return like, text
    return ()


def _across(scope: Scope) -> Iterator[Found]:
    """Find lots that one clause asks for and another of the same product excepts."""
    excepted = {
        (ref, test.kind, text): at
        for at, clause in enumerate(scope.clauses)
        for ref in clause.products
        for test in clause.excepted
        for text in test.texts
    }
    if not excepted:
        return
    for at, clause in enumerate(scope.clauses):
        for ref in clause.products:
            for test in clause.tests:
                for text in test.texts:
                    other = excepted.get((ref, test.kind, text), at)
                    if other != at:
                        what = Finding.EXCEPTED_ELSEWHERE
                        yield Found(finding=what, clause=at, texts=(text,), other=other)
