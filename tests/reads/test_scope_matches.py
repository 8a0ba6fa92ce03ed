"""What a scope names that was ever seen here: by texts, ranges, packaging, machines."""

from sqlalchemy import event

from tests.make import OXYGENATOR, TAP, TAP_CARTON, UNKNOWN, Ward, code
from tests.stock_acts import Shelves
from traceability.domain.notice_scope import ProductRef, Said, Scope, ScopeClause, ScopeTest
from traceability.reads.scope_matches import ClauseMatches, scope_matches


def gs1(gtin: str) -> ProductRef:
    return ProductRef(standard="gs1", identifier=gtin)


def matches(ward: Ward, *clauses: ScopeClause) -> tuple[ClauseMatches, ...]:
    with ward.reads() as session:
        return scope_matches(session, ward.site.id, Scope(clauses=clauses))


def clause(ref: ProductRef, *tests: ScopeTest) -> ScopeClause:
    return ScopeClause(products=(ref,), tests=tests)


def said(kind: Said, *texts: str) -> ScopeTest:
    return ScopeTest(kind=kind, texts=texts)


def span(kind: Said, first: str | None, last: str | None) -> ScopeTest:
    return ScopeTest(kind=kind, first=first, last=last)


def test_lots_are_counted_by_the_letter_and_look_alikes_apart(ward: Ward) -> None:
    for lot in ("TA-0701", "TA-O702", "TA-0800"):
        Shelves(ward).receive(code(TAP, lot))
    lots = said(Said.LOTS, "TA-0701", "TA-0702", "TA-0703")
    in_range = span(Said.LOT_RANGE, "TA-0700", "TA-0710")
    listed, ranged = matches(ward, clause(gs1(TAP), lots), clause(gs1(TAP), in_range))
    (found,) = listed.tests
    assert (found.named, found.seen, found.alike) == (3, 1, 1)
    (found,) = ranged.tests
    assert (found.named, found.seen, found.alike) == (None, 1, 1)


def test_a_carton_is_the_product_inside_and_says_how_many(ward: Ward) -> None:
    Shelves(ward).receive(code(TAP, "TA-0701"))
    (found,) = matches(ward, clause(gs1(TAP_CARTON), said(Said.LOTS, "TA-0701")))
    assert [name for _, name in found.refs[0].products] == ["Three-way tap"]
    assert found.refs[0].units == 25
    assert found.tests[0].seen == 1


def test_maker_and_item_number_find_the_product_whatever_their_case(ward: Ward) -> None:
    ref = ProductRef(maker="MELLOWICK perfusion", item_number="ox-1")
    ward.at("administrator").product(
        OXYGENATOR, "Oxygenator", "oxygenator", maker="Mellowick Perfusion", item_number="OX-1"
    )
    (found,) = matches(ward, clause(ref))
    assert [name for _, name in found.refs[0].products] == ["Oxygenator"]


def test_what_is_not_known_here_is_kept_and_told(ward: Ward) -> None:
    (found,) = matches(ward, clause(gs1(UNKNOWN), said(Said.LOTS, "A1")))
    assert found.unknown == (gs1(UNKNOWN),)
    assert (found.tests[0].named, found.tests[0].seen, found.tests[0].alike) == (1, 0, 0)


def test_the_same_lot_text_of_another_product_is_not_counted(ward: Ward) -> None:
    Shelves(ward).receive(code(OXYGENATOR, "TA-0701", serial="S1"))
    (found,) = matches(ward, clause(gs1(TAP), said(Said.LOTS, "TA-0701", "TA-07O1")))
    assert (found.tests[0].seen, found.tests[0].alike) == (0, 0)


def test_serials_are_found_one_by_one_and_in_short_ranges(ward: Ward) -> None:
    for serial in ("S007", "S8", "S011"):
        Shelves(ward).receive(code(OXYGENATOR, "OX-1", serial=serial))
    ox = gs1(OXYGENATOR)
    listed, short, wide = matches(
        ward,
        clause(ox, said(Said.SERIALS, "S007", "S7")),
        clause(ox, span(Said.SERIAL_RANGE, "S001", "S010")),
        clause(ox, span(Said.SERIAL_RANGE, None, "S010")),
    )
    assert (listed.tests[0].named, listed.tests[0].seen) == (2, 1)
    assert (short.tests[0].seen, short.tests[0].counted) == (2, True)
    assert not wide.tests[0].counted


def test_machines_of_a_kind_are_counted_by_their_serials(ward: Ward) -> None:
    ward.machine("HC-0417")
    ward.machine("HC-500")
    (found,) = matches(
        ward, clause(ProductRef(kind="heater-cooler"), span(Said.SERIAL_RANGE, None, "HC-420"))
    )
    assert found.refs[0].machines == 2
    assert (found.tests[0].seen, found.unknown) == (1, ())


def test_fifty_thousand_lots_are_looked_up_in_blocks(ward: Ward) -> None:
    Shelves(ward).receive(code(TAP, "TA-00007"))
    lots = said(Said.LOTS, *(f"TA-{n:05}" for n in range(50_000)))
    statements: list[int] = []
    engine = ward.services.reader
    event.listen(engine, "before_cursor_execute", lambda *told: statements.append(len(told[3])))
    (found,) = matches(ward, clause(gs1(TAP), lots))
    assert (found.tests[0].named, found.tests[0].seen) == (50_000, 1)
    assert max(statements) <= 502
    assert len(statements) <= 210
