"""Reads the facts of recall stories (tests/data/recall/README.md) past the acts that enter them."""

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any, Final
from zoneinfo import ZoneInfo

from traceability.cli.stories.corrections import FACTS
from traceability.cli.stories.form import moment
from traceability.cli.stories.scope import names_one_lot, scope_of, written
from traceability.domain.shelves import facts as told
from traceability.domain.shelves.answer import answer
from traceability.domain.shelves.situation import Situation, situation_at

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
        asked = question["scope"]
        found = answer(scope_of(asked), self.at(question["as_of"]))
        return written(found, {}, with_stock=names_one_lot(asked))


def stories() -> list[Story]:
    return [read(json.loads(path.read_text())) for path in sorted(HERE.glob("*.json"))]


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
    known = set(FACTS[kind].__dataclass_fields__)
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
    return FACTS[given["type"]](**values)
