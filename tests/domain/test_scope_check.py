"""What a scope says against itself."""

import pytest

from traceability.domain.notice_scope import ProductRef, Said, Scope, ScopeClause, ScopeTest
from traceability.domain.scope_check import Finding, check_scope

TAP = ProductRef(standard="gs1", identifier="09506000134352")


def lots(*texts: str) -> ScopeTest:
    return ScopeTest(kind=Said.LOTS, texts=texts)


def serials(*texts: str) -> ScopeTest:
    return ScopeTest(kind=Said.SERIALS, texts=texts)


def span(kind: Said, first: str | None, last: str | None) -> ScopeTest:
    return ScopeTest(kind=kind, first=first, last=last)


def found(*tests: ScopeTest, but: tuple[ScopeTest, ...] = ()) -> set[Finding]:
    clause = ScopeClause(products=(TAP,), tests=tests, excepted=but)
    return {each.finding for each in check_scope(Scope(clauses=(clause,)))}


R, S = Said.LOT_RANGE, Said.SERIAL_RANGE


@pytest.mark.parametrize(
    ("tests", "but", "finding"),
    [
        ((lots("A1", "A2"),), (lots("A2", "A1"),), Finding.NOTHING_LEFT),
        ((lots("A1", "A2"),), (span(R, "A1", "A9"),), Finding.NOTHING_LEFT),
        ((serials("S1"),), (serials("S1"), lots("L")), Finding.NOTHING_LEFT),
        ((span(R, "A2", "A5"),), (span(R, "A1", "A9"),), Finding.NOTHING_LEFT),
        ((span(R, None, "A5"),), (span(R, None, "A9"),), Finding.NOTHING_LEFT),
        (
            (span(Said.MADE, "2026-01-02", "2026-01-09"),),
            (span(Said.MADE, "2026-01-01", None),),
            Finding.NOTHING_LEFT,
        ),
        ((lots("A1"), lots("A2")), (), Finding.NO_OVERLAP),
        ((lots("A1"), span(R, "A5", "A9")), (), Finding.NO_OVERLAP),
        ((span(S, "S5", "S9"), serials("S1")), (), Finding.NO_OVERLAP),
        (
            (span(Said.MADE, "2026-05-01", None), span(Said.EXPIRES, None, "2026-04-01")),
            (),
            Finding.NO_OVERLAP,
        ),
        (
            (
                span(Said.RECEIVED, None, "2026-01-31"),
                span(Said.RECEIVED, "2026-02-01", "2026-03-01"),
            ),
            (),
            Finding.NO_OVERLAP,
        ),
        ((span(R, "A9", "A1"),), (), Finding.EMPTY_RANGE),
        ((span(S, "A1", "B9"),), (), Finding.ENDS_UNLIKE),
        ((span(S, None, None),), (), Finding.NO_ENDS),
        ((), (), Finding.EVERY_UNIT),
        ((lots("A01", "AO1"),), (), Finding.ALIKE_WITHIN),
    ],
)
def test_a_clause_is_told_what_speaks_against_it(
    tests: tuple[ScopeTest, ...], but: tuple[ScopeTest, ...], finding: Finding
) -> None:
    assert finding in found(*tests, but=but)


@pytest.mark.parametrize(
    ("tests", "but"),
    [
        ((lots("A1", "A2"),), (lots("A2"),)),
        ((lots("A1", "A12"),), (span(R, "A10", "A19"),)),
        ((span(R, "A1", "A9"),), (span(R, "A2", "A5"),)),
        ((span(R, None, "A9"),), (span(R, "A1", "A9"),)),
        ((lots("A1"), span(R, "A1", "A9")), ()),
        ((lots("A1"), serials("A2")), ()),
        ((span(Said.MADE, None, "2026-01-31"), span(Said.MADE, "2026-01-31", None)), ()),
    ],
)
def test_what_can_be_met_is_no_contradiction(
    tests: tuple[ScopeTest, ...], but: tuple[ScopeTest, ...]
) -> None:
    assert found(*tests, but=but) == set()


def test_clauses_are_compared_with_each_other() -> None:
    one = ScopeClause(products=(TAP,), tests=(lots("A1"),))
    other = ScopeClause(products=(TAP,), tests=(span(R, "A1", "A9"),), excepted=(lots("A1"),))
    kind = ScopeClause(products=(ProductRef(kind="heater-cooler"),))
    said = check_scope(Scope(clauses=(one, other, one, kind)))
    assert [(each.finding, each.clause, each.other) for each in said] == [
        (Finding.SAME_CLAUSE, 2, 0),
        (Finding.EVERYTHING, 3, None),
        (Finding.EXCEPTED_ELSEWHERE, 0, 1),
        (Finding.EXCEPTED_ELSEWHERE, 2, 1),
    ]
