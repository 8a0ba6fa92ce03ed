"""Clauses as a person writes them into fields."""

from datetime import UTC, datetime

import pytest

from tests.exchange.scopes import OF, TAP, TODAY, doubts
from traceability.domain.notice_scope import ProductRef, Said, ScopeClause
from traceability.domain.scope_draft import Entry, NotRead
from traceability.exchange.clause_form import ClauseFields, clause_rows


def rows(of: ProductRef | None = OF, **texts: str) -> list[Entry]:
    return list(clause_rows([ClauseFields(texts=texts)], of=of, today=TODAY))


def clauses(**texts: str) -> list[ScopeClause]:
    found = [each.meanings[0].clause for each in rows(None, products=TAP, **texts)]
    return [each for each in found if each is not None]


def test_fields_hold_together_and_texts_of_one_field_are_one_or_the_other() -> None:
    made = {"made_from": "2026-01-01", "made_to": "2026-03-31"}
    first, second = clauses(lots="TA-1, TA-2\nTA-5 to TA-9", supplier="Norrvik Supply", **made)
    assert [test.kind for test in first.tests] == [Said.LOTS, Said.MADE, Said.SUPPLIER]
    assert first.tests[0].texts == ("TA-1", "TA-2")
    assert [test.kind for test in second.tests] == [Said.LOT_RANGE, Said.MADE, Said.SUPPLIER]


def test_up_to_and_except() -> None:
    (clause,) = clauses(serials_to="HC-0420", x_serials="HC-7, HC-8", x_received_to="2025-01-01")
    assert clause.tests[0].ends == (None, "HC-0420")
    assert [each.kind for each in clause.excepted] == [Said.SERIALS, Said.RECEIVED]


def test_machines_by_kind_and_packs_that_contain_it() -> None:
    at = datetime(2025, 1, 1, tzinfo=UTC)
    fields = ClauseFields(texts={"kind": "heater-cooler"}, used_from=at)
    (row,) = clause_rows([fields], of=None, today=TODAY)
    assert row.meanings[0].clause == ScopeClause(
        products=(ProductRef(kind="heater-cooler"),), used_from=at
    )
    packs = ClauseFields(texts={"lots": "TA-1"}, containing=True)
    (row,) = clause_rows([packs], of=OF, today=TODAY)
    assert row.meanings[0].clause is not None
    assert row.meanings[0].clause.containing


@pytest.mark.parametrize(
    ("texts", "why", "field"),
    [
        ({"lots": "TA-1"}, NotRead.NO_PRODUCT, "products"),
        ({"item": "T-1", "lots": "TA-1"}, NotRead.NO_MAKER, "item"),
        ({"products": "tap", "lots": "TA-1"}, NotRead.CODE, "products"),
        ({"products": TAP, "lots": "n/a"}, NotRead.NOTHING, "lots"),
        (
            {"products": TAP, "lots_from": "TA-9", "lots_to": "TA-1"},
            NotRead.EMPTY_RANGE,
            "lots_from",
        ),
        ({"products": TAP, "made_from": "1.2.2026"}, NotRead.NOT_A_DAY, "made_from"),
        (
            {"products": TAP, "x_made_from": "2026-02-01", "x_made_to": "2026-01-01"},
            NotRead.EMPTY_RANGE,
            "x_made_to",
        ),
        ({"products": TAP, "used_from": "yesterday"}, NotRead.NOT_A_MOMENT, "used_from"),
    ],
)
def test_a_field_that_cannot_be_taken_leaves_its_clause_out_and_is_named(
    texts: dict[str, str], why: NotRead, field: str
) -> None:
    (row,) = rows(None, **texts)
    assert (row.why, row.detail) == (why, field)


def test_what_is_doubtful_in_a_field_waits() -> None:
    assert doubts(rows(products=TAP, lots="1E5")[0]) == {"scientific"}
    assert doubts(rows(products=TAP)[0]) == {"every"}
    assert doubts(rows(products=TAP[:-1] + "0", lots="A1")[0]) == {"check-digit"}
    assert rows() == []
