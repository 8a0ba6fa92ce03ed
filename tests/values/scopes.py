"""What a notice means, lot texts, and GS1 dates. Shelves are asked of the product's own answer."""

import re
from datetime import UTC, date, datetime, timedelta
from typing import Any, Final
from zoneinfo import ZoneInfo

from tests.values.forms import BadValue, Form, Given, day, whole
from traceability.domain.exposure import Shelf, strongest
from traceability.domain.scopes import Match, alike, in_dates, in_serial_range
from traceability.domain.shelves import facts as told
from traceability.domain.shelves.answer import Coverage, answer
from traceability.domain.shelves.changes import changes
from traceability.domain.shelves.scope import Asked, Clause, Test
from traceability.domain.shelves.situation import situation_at
from traceability.identifiers.gs1_dates import day_of
from traceability.identifiers.gs1_table import TABLE

_START: Final = datetime(2027, 1, 1, 12, 0, tzinfo=UTC)
_MAKER, _ITEM, _PACK = "Oskerby Devices", "TAP", "PACK"
_ALIKE: Final = "alike, needs ruling"


def _match(match: Match, inside: str, outside: str) -> str:
    return {Match.IN: inside, Match.OUT: outside, Match.ALIKE: _ALIKE}[match]


def _serial(given: Given) -> str:
    serial, first, last = (given[key] for key in ("serial", "from", "to"))
    if not isinstance(serial, str) or not all(
        e is None or isinstance(e, str) for e in (first, last)
    ):
        raise BadValue("serials are texts; an end of the range may be null")
    return _match(in_serial_range(serial, first, last), "in", "out")


def _shelf(facts: list[told.Fact], clause: Clause, *, book: bool = True, pack: bool = False) -> str:
    """Return the shelf of circuit C as a sentence of the trade's words."""
    inner = (told.Contained(item=_ITEM, maker=_MAKER),) if pack else ()
    items = {
        _ITEM: told.Item(name=_ITEM, book_complete=book),
        _PACK: told.Item(name=_PACK, kind=told.Kind.PACK, contains=inner),
    }
    end = max(fact.at for fact in facts) + timedelta(days=1)
    situation = situation_at(facts, as_of=end, items=items, zone=ZoneInfo("UTC"))
    row = answer((clause,), situation).circuits["C"]
    if row.shelf is not Shelf.CANNOT_BE_EXCLUDED:
        return str(row.shelf)
    reasons = ", ".join(str(reason).replace("_", " ") for reason in row.reasons)
    return f"cannot be excluded: {reasons}"


def _when(days: float) -> dict[str, Any]:
    at = _START + timedelta(days=days)
    return {"at": at, "recorded_at": at}


def _prime(circuit: str, *parts: told.PartIn, days: float = 10) -> told.Prime:
    return told.Prime(id=circuit, circuit=circuit, parts=parts, **_when(days))


def _receipt(lot: str, qty: int, **more: Any) -> told.Receipt:
    when = _when(0) | {key: more.pop(key) for key in ("at", "recorded_at") if key in more}
    return told.Receipt(id=f"r {lot}", item=_ITEM, maker=_MAKER, lot=lot, qty=qty, **when, **more)


def _tap(p: str, lot: str | None, maker: str | None = _MAKER) -> told.PartIn:
    return told.PartIn(p=p, item=_ITEM, maker=maker, lot=lot)


def _lots(*lots: str, maker: str = _MAKER) -> Clause:
    return Clause(maker=maker, items=(_ITEM,), tests=(Test(asked=Asked.LOTS, texts=lots),))


def _texts(given: Given) -> str:
    captured, notice = given["captured"], given["notice"]
    if isinstance(captured, str) and isinstance(notice, str):
        return _match(alike(captured, notice), "same", "different")
    if not isinstance(captured, dict) or not isinstance(notice, dict):
        raise BadValue("captured and notice should both be texts, or both maker and lot")
    part = _tap("t", captured.get("lot"), captured.get("maker"))
    clause = _lots(notice["lot"], maker=notice["maker"])
    return _shelf([_prime("C", part)], clause, book=False)


def _made(given: Given) -> str:
    made = None if given["made"] is None else day(given["made"])
    found = in_dates(made, _end(given, "from"), _end(given, "to"))
    return "cannot be excluded: date not known" if found is None else _match(found, "in", "out")


def _end(given: Given, key: str) -> date | None:
    return None if given.get(key) is None else day(given[key])


def _shipped(given: Given) -> str:
    received = datetime.combine(day(given["received"]), datetime.min.time(), tzinfo=UTC)
    ship = None if given["ship"] is None else day(given["ship"])
    line = _receipt("A", 1, at=received, recorded_at=received, shipped=ship)
    primed = _prime("C", _tap("t", "A"), days=(received - _START).days + 1)
    test = Test(asked=Asked.SHIPPED, first_day=_end(given, "from"), last_day=_end(given, "to"))
    return _shelf([line, primed], Clause(maker=_MAKER, items=(_ITEM,), tests=(test,)))


def _on_shelf(given: Given) -> str:
    lots: list[told.Fact] = [_receipt(lot, 5) for lot in given["lots_on_shelf"]]
    book = given.get("book_complete", True)
    return _shelf([*lots, _prime("C", _tap("t", None))], _lots(*given["scope"]), book=book)


_COUNT: Final = re.compile(r"(.+)_(received|captured_elsewhere|used|out)")


def _counted(given: Given) -> str:
    """Counts of lots, and another lot outside the scope of which there is enough."""
    received: dict[str, int] = {}
    gone: dict[str, int] = {}
    for key in given:
        if (found := _COUNT.fullmatch(key)) is not None:
            side = received if found[2] == "received" else gone
            side[found[1]] = side.get(found[1], 0) + whole(given, key)
    facts: list[told.Fact] = [_receipt(lot, qty) for lot, qty in received.items()]
    if set(received) <= set(given["scope"]):
        facts.append(_receipt("another lot", 5))
    for lot, count in gone.items():
        facts += [_prime(f"{lot} {n}", _tap("t", lot), days=5) for n in range(count)]
    book = given.get("book_complete", True)
    return _shelf([*facts, _prime("C", _tap("t", None))], _lots(*given["scope"]), book=book)


def _packed(pack_lot: str | None, *notices: told.CartonNotice) -> str:
    pack = told.PartIn(p="k", item=_PACK, maker=_MAKER, lot=pack_lot)
    return _shelf([_prime("C", pack), *notices], _lots("INNER"), pack=True)


def _carton(given: Given) -> str:
    notice = told.CartonNotice(
        id="n",
        pack_item=_PACK,
        pack_maker=_MAKER,
        pack_lots=tuple(given["listed"]),
        inner_item=_ITEM,
        inner_lot="INNER",
        sole=given.get("sole", True),
        complete=given["list_complete"],
        **_when(20),
    )
    return _packed(given["pack_lot"], notice)


def _contains(given: Given) -> str:
    if not given["pack_model_contains"]:
        pack = told.PartIn(p="k", item=_PACK, maker=_MAKER, lot="P1")
        return _shelf([_prime("C", pack)], _lots("INNER"))
    return _packed("P1")


def _grown(given: Given) -> dict[str, list[str]]:
    """A notice that grows asks for its old lots and the new ones: hits of both stand."""
    before = dict.fromkeys(given["old_hits"], Shelf.CONFIRMED)
    after = before | dict.fromkeys(given["new_hits"], Shelf.CONFIRMED)
    found = changes(before, after)
    return {
        "unchanged": list(found.unchanged),
        "added": list(found.added),
        "moved": list(found.moved),
    }


def _strongest(given: Given) -> str:
    try:
        shelves = [Shelf(text.replace(" ", "_")) for text in given["shelves"]]
    except (AttributeError, ValueError) as wrong:
        raise BadValue(f"no such shelf: {wrong}") from wrong
    return str(strongest(shelves)).replace("_", " ")


def _coverage(given: Given) -> dict[str, float | None]:
    counts = {key: whole(given, key) for key in ("circuits", "gaps", "foreign")}
    if whole(given, "complete") + counts["gaps"] + counts["foreign"] != counts["circuits"]:
        raise BadValue("complete, gaps and foreign do not add up to the circuits")
    found = Coverage(
        circuits=counts["circuits"], with_gap=counts["gaps"], unknown=counts["foreign"]
    )
    return {"percent_complete": found.percent_complete}


SCOPE: Final = (
    Form(("serial", "from", "to"), _serial),
    Form(("captured", "notice"), _texts),
    Form(("made", "from", "to"), _made),
    Form(("ship", "received", "from", "to"), _shipped),
    Form(("lots_on_shelf", "scope"), _on_shelf),
    Form(("pack_lot", "listed", "list_complete"), _carton),
    Form(("pack_model_contains",), _contains),
    Form(("old_hits", "new_hits"), _grown),
    Form(("shelves",), _strongest),
    Form(("circuits", "complete", "gaps", "foreign"), _coverage),
    Form(("scope",), _counted),
)


def _gs1_day(given: Given) -> str:
    text = given["yymmdd"]
    if not isinstance(text, str) or not re.fullmatch(r"[0-9]{6}", text):
        raise BadValue(f"{text!r} is not six digits")
    found = day_of(text, date(whole(given, "reading_year", least=1), 7, 1))
    return "refused, asks for the printed date" if found is None else found.isoformat()


def longest(statement: str) -> int | None:
    """Return the longest text of the identifier that a statement names as "AI (nn)"."""
    named = re.search(r"AI \(([0-9]{2,4})\)", statement)
    if named is None or "ongest" not in statement or named[1] not in TABLE:
        return None
    return sum(part.most for part in TABLE[named[1]].parts)


def needs_product(statement: str) -> bool | None:
    """Return whether a lot or serial needs its GTIN beside it, by the product's own table."""
    named = re.search(r"\b(lot|serial)\b.* means nothing without its GTIN", statement)
    if named is None:
        return None
    demands = TABLE[{"lot": "10", "serial": "21"}[named[1]]].needs
    return any("01" in first for first, _ in demands)


GS1: Final = (Form(("yymmdd", "reading_year"), _gs1_day),)
