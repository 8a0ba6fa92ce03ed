"""The project's own form of a notice's scope, in JSON; described in `docs/notice-form.md`.

Read by `traceability.domain.notice_scope`; here each clause becomes a row of the preview, and what
the form does not know is said instead of passed over.
"""

import json
from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any, Final

from traceability.domain.notice_scope import BadScope, ProductRef, Said, ScopeClause, read_scope
from traceability.domain.scope_draft import Doubt, Doubtful, Entry, Meaning, NotRead
from traceability.exchange.codes import GTIN, GTIN_SIZES
from traceability.exchange.texts import doubts_of, is_checked

__all__ = ["BadJson", "form_entries", "load_json"]

CLAUSE: Final = frozenset({"products", "tests", "except", "containing", "used_from", "used_to"})
TEST: Final = frozenset({"test", "texts", "from", "to"})
PRODUCT: Final = frozenset(ProductRef.__slots__)


class BadJson(ValueError):
    """The text is no JSON that can be read; the message says where."""


def load_json(text: str) -> object:
    """Return what a JSON text says.

    Raises:
        BadJson: it is none, names a field twice, or is nested without end.
    """

    def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        found = dict(pairs)
        if len(found) != len(pairs):
            names = [name for name, _ in pairs]
            twice = next(name for name in names if names.count(name) > 1)
            raise BadJson(f"field {twice[:60]!r} stands twice in one object")
        return found

    try:
        return json.loads(text, object_pairs_hook=_once)
    except json.JSONDecodeError as wrong:
        raise BadJson(f"line {wrong.lineno}, character {wrong.colno}") from None
    except RecursionError:
        raise BadJson("it is nested too deeply") from None
    except BadJson:
        raise
    except ValueError:  # a number of thousands of digits
        raise BadJson("a number has too many digits") from None


def form_entries(body: object) -> list[Entry]:
    """Return an entry for each clause; one that breaks the form is not read, and says where."""
    given = body.get("any_of") if isinstance(body, Mapping) else None
    if not isinstance(given, list) or not given:
        try:
            read_scope(body)
        except BadScope as wrong:
            return [Entry(place="scope", given="", why=NotRead.FORM, detail=str(wrong)[:300])]
        return []
    entries = []
    for at, clause in enumerate(given):
        place = f"any_of[{at}]"
        shown = json.dumps(clause, ensure_ascii=False)[:300]
        unknown = ", ".join(_unknown(clause, place))
        try:
            scope = read_scope({"any_of": [clause]})
        except BadScope as wrong:
            detail = str(wrong).replace("any_of[0]", place)[:300]
            entries.append(Entry(place=place, given=shown, why=NotRead.FORM, detail=detail))
            continue
        clause_read, doubts = _looked_at(scope.clauses[0])
        if unknown:
            doubts = (Doubt(Doubtful.UNKNOWN_PART, unknown[:300]), *doubts)
        meaning = Meaning(clause=clause_read)
        entries.append(Entry(place=place, given=shown, meanings=(meaning,), doubts=doubts))
    return entries


def _looked_at(clause: ScopeClause) -> tuple[ScopeClause, tuple[Doubt, ...]]:
    """Return the clause with its GTINs in 14 digits, and what is doubtful about its texts."""
    doubts: dict[Doubt, None] = {}
    products = []
    for ref in clause.products:
        known = ref
        if ref.standard == "gs1" and ref.identifier:
            digits = ref.identifier
            if len(digits) in GTIN_SIZES and is_checked(digits):
                known = replace(ref, identifier=digits.zfill(GTIN))
            else:
                doubts[Doubt(Doubtful.CHECK_DIGIT, digits[:60])] = None
        products.append(known)
    for test in (*clause.tests, *clause.excepted):
        for text in test.texts if test.kind is not Said.SUPPLIER else ():
            for doubt, _ in doubts_of(text):
                doubts.setdefault(replace(doubt, detail=text[:60]))
    return replace(clause, products=tuple(products)), tuple(doubts)[:50]


def _unknown(clause: object, at: str) -> Iterator[str]:
    if not isinstance(clause, Mapping):
        return
    yield from (f"{at}.{name}" for name in clause if name not in CLAUSE)
    for part, known in (("products", PRODUCT), ("tests", TEST), ("except", TEST)):
        listed = clause.get(part)
        for number, each in enumerate(listed if isinstance(listed, list) else []):
            if isinstance(each, Mapping):
                yield from (f"{at}.{part}[{number}].{name}" for name in each if name not in known)
