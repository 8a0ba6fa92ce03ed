"""Reads recall stories (tests/data/recall/README.md) and writes answers in their form."""

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any, Final
from zoneinfo import ZoneInfo

from traceability.domain.exposure import Shelf
from traceability.domain.shelves import facts as told
from traceability.domain.shelves.answer import Answer, Row, answer
from traceability.domain.shelves.scope import Asked, Clause, any_of, within
from traceability.domain.shelves.situation import Situation, situation_at
from traceability.domain.spans import Span

HERE: Final = Path(__file__).parent / "data" / "recall"


@dataclass(frozen=True, slots=True, kw_only=True)
class Story:
    """A story, ready to be asked."""

    id: str
    zone: ZoneInfo
    items: Mapping[str, told.Item]
    facts: tuple[told.Fact, ...]
    questions: tuple[Mapping[str, Any], ...]

    def at(self, as_of: str) -> Situation:
        return situation_at(self.facts, as_of=moment(as_of), items=self.items, zone=self.zone)

    def ask(self, question: Mapping[str, Any]) -> dict[str, Any]:
        """Return the answer to one of its questions in the form of `expect`."""
        clauses = scope(question["scope"])
        found = answer(clauses, self.at(question["as_of"]))
        return written(found, with_stock=_names_one_lot(question["scope"]))


def stories() -> list[Story]:
    return [read(json.loads(path.read_text())) for path in sorted(HERE.glob("*.json"))]


def moment(text: str) -> datetime:
    return datetime.fromisoformat(text).astimezone(UTC)


def _items(file: Mapping[str, Any]) -> dict[str, told.Item]:
    complete = file.get("stock_book_complete", {})
    return {
        name: told.Item(
            name=name,
            kind=told.Kind(item["kind"]),
            contains=tuple(
                told.Contained(item=inner["item"], maker=inner.get("maker"))
                for inner in item.get("contains", ())
            ),
            book_complete=complete.get(name, False),
        )
        for name, item in file["items"].items()
    }


def read(file: Mapping[str, Any]) -> Story:
    """Return the story of a parsed file."""
    return Story(
        id=file["id"],
        zone=ZoneInfo(file["zone"]),
        items=_items(file),
        facts=tuple(_fact(fact) for fact in file["facts"]),
        questions=tuple(file.get("questions", ())),
    )


_KINDS: Final[Mapping[str, type[told.Fact]]] = {
    "receipt": told.Receipt,
    "stock_out": told.StockOut,
    "prime": told.Prime,
    "swap": told.Swap,
    "connect": told.Connect,
    "disconnect": told.Disconnect,
    "transfer_out": told.TransferOut,
    "discard": told.Discard,
    "foreign_in": told.ForeignIn,
    "foreign_list": told.ForeignList,
    "equip_register": told.Register,
    "equip_on": told.EquipOn,
    "equip_off": told.EquipOff,
    "carton_notice": told.CartonNotice,
    "ruling": told.Ruling,
    "merge": told.Merge,
    "correction": told.Correction,
}
_RENAMED: Final = {("merge", "from"): "source", ("correction", "set"): "changes"}


def _part(given: Mapping[str, Any]) -> told.PartIn:
    return told.PartIn(
        p=given["p"],
        item=given["item"],
        maker=given.get("maker"),
        lot=given.get("lot"),
        serial=given.get("serial"),
        box=given.get("box"),
    )


_READ: Final[Mapping[str, Callable[[Any], Any]]] = {
    "at": moment,
    "recorded_at": moment,
    "made": lambda text: None if text is None else date.fromisoformat(text),
    "shipped": lambda text: None if text is None else date.fromisoformat(text),
    "parts": lambda parts: tuple(_part(part) for part in parts),
    "part_in": lambda part: None if part is None else _part(part),
    "pack_lots": tuple,
}


def _values(kind: str, given: Mapping[str, Any]) -> dict[str, Any]:
    """Return what a fact says by field name, read; what no field holds is left out."""
    known = set(_KINDS[kind].__dataclass_fields__)
    values: dict[str, Any] = {}
    for key, value in given.items():
        name = _RENAMED.get((kind, key), key)
        if key == "inner":
            values |= {"inner_item": value["item"], "inner_lot": value["lot"]}
        elif name == "changes":
            values[name] = {field: _read(field, new) for field, new in value.items()}
        elif name in known:
            values[name] = _read(name, value)
    return values


def _read(name: str, value: Any) -> Any:
    if name == "set":
        return {field: _read(field, new) for field, new in value.items()}
    return _READ.get(name, lambda same: same)(value)


def _fact(given: Mapping[str, Any]) -> told.Fact:
    values = _values(given["type"], given)
    values.setdefault("recorded_at", values["at"])
    return _KINDS[given["type"]](**values)


def _names_one_lot(given: Mapping[str, Any]) -> bool:
    return given["kind"] == "lots" and len(given["lots"]) == 1


def scope(given: Mapping[str, Any]) -> tuple[Clause, ...]:
    """Return a scope's clauses, outer windows applied."""
    since, until = (
        None if given.get(key) is None else moment(given[key]) for key in ("used_from", "used_to")
    )
    if given["kind"] == "any_of":
        return within(any_of(*(scope(inner) for inner in given["scopes"])), since, until)
    asked = Asked(given["kind"])
    dated = asked in {Asked.MADE, Asked.SHIPPED}
    ends = (given.get("from"), given.get("to"))
    clause = Clause(
        asked=asked,
        maker=given["maker"],
        items=tuple(given["items"]) if asked is Asked.MODELS else (given["item"],),
        lots=tuple(given.get("lots", ())),
        first_serial=None if dated else ends[0],
        last_serial=None if dated else ends[1],
        first_day=date.fromisoformat(ends[0]) if dated and ends[0] else None,
        last_day=date.fromisoformat(ends[1]) if dated and ends[1] else None,
    )
    return within((clause,), since, until)


def spans(spans: tuple[Span, ...]) -> list[list[str | None]]:
    return [[_time(one.start), None if one.end is None else _time(one.end)] for one in spans]


def _time(at: datetime) -> str:
    return at.astimezone(UTC).strftime("%Y-%m-%dT%H:%MZ")


def _row(row: Row, *, patient: bool) -> dict[str, Any]:
    written: dict[str, Any] = {"shelf": str(row.shelf)}
    if row.shelf is Shelf.CANNOT_BE_EXCLUDED:
        written["reasons"] = [str(reason) for reason in row.reasons]
    if patient and row.shelf is not Shelf.EXCLUDED:
        confirmed = row.shelf is Shelf.CONFIRMED
        written["intervals"] = spans(row.sure if confirmed else row.possible)
        if confirmed and row.possible != row.sure:
            written["possible_intervals"] = spans(row.possible)
    if row.continues_beyond_our_record:
        written["continues_beyond_our_record"] = True
    return written


def written(found: Answer, *, with_stock: bool) -> dict[str, Any]:
    """Return an answer in the form of `expect`."""
    left = None if found.stock_left is None else list(found.stock_left)
    return {
        "circuits": {c: _row(row, patient=False) for c, row in found.circuits.items()},
        "patients": {p: _row(row, patient=True) for p, row in found.patients.items()},
        "coverage": {
            "circuits": found.coverage.circuits,
            "with_gap": found.coverage.with_gap,
            "foreign_unknown": found.coverage.unknown,
        },
        **({"stock_left": left} if with_stock else {}),
    }
