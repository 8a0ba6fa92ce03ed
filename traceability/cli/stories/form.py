"""The form of a story's file: what has to be there, said in a sentence where it is not.

Only shapes are checked here; what the facts mean is for the acts that take them in.
"""

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any, Final, TypeAlias
from zoneinfo import ZoneInfo

from traceability.domain.shelves.facts import Contained, Item, Kind

__all__ = ["BadStory", "Given", "Story", "moment", "read_story"]

Given: TypeAlias = Mapping[str, Any]

LARGEST_FILE: Final = 10_000_000
"""Bytes; a story has some tens of facts. Own choice."""


class BadStory(ValueError):
    """The file is not a story; the message says what to put right."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Story:
    """A file, checked; its facts in the order of the file."""

    id: str
    zone: ZoneInfo
    items: Mapping[str, Item]
    facts: Sequence[Given]
    questions: Sequence[Given]


def read_story(content: bytes) -> Story:
    """Return the story of a file.

    Raises:
        BadStory: it is none, or a fact or question in it is not whole.
    """
    if len(content) > LARGEST_FILE:
        raise BadStory("the file is too large for a story")
    try:
        file = json.loads(content, parse_constant=_no_number)
    except RecursionError:
        raise BadStory("it is nested too deeply") from None
    except ValueError as error:
        raise BadStory(f"it is not JSON ({error})") from None
    if not isinstance(file, dict):
        raise BadStory("it is not an object")
    facts = _list(file, "facts", "the story")
    questions = _list(file, "questions", "the story")
    story = Story(
        id=_text(file, "id", "the story"),
        zone=_zone(file),
        items=_items(file),
        facts=[_fact(fact, place) for place, fact in enumerate(facts, start=1)],
        questions=[_question(asked, place) for place, asked in enumerate(questions, start=1)],
    )
    _require_sound(story)
    return story


def moment(text: str) -> datetime:
    """Return a time of the file, aware UTC.

    Raises:
        ValueError: it is none, or says no zone.
    """
    at = datetime.fromisoformat(text)
    if at.tzinfo is None:
        raise ValueError(text)
    return at.astimezone(UTC)


def _no_number(name: str) -> object:
    raise ValueError(f"{name} is no number")


def _zone(file: Given) -> ZoneInfo:
    name = _text(file, "zone", "the story")
    try:
        return ZoneInfo(name)
    except (KeyError, OSError, ValueError):
        raise BadStory(f"zone: {name!r} is not a time zone") from None


def _items(file: Given) -> dict[str, Item]:
    given = _object(file, "items", "the story")
    complete = file.get("stock_book_complete") or {}
    if not isinstance(complete, dict):
        raise BadStory("stock_book_complete is not an object")
    return {name: _item(name, each, complete.get(name) is True) for name, each in given.items()}


def _item(name: str, given: object, complete: bool) -> Item:
    where = f"item {name}"
    if not isinstance(given, dict):
        raise BadStory(f"{where} is not an object")
    kind = _text(given, "kind", where)
    if kind not in set(Kind):
        raise BadStory(f"{where}: kind {kind!r} is none of {', '.join(Kind)}")
    inside = given.get("contains") or []
    if not isinstance(inside, list) or not all(isinstance(each, dict) for each in inside):
        raise BadStory(f"{where}: contains is not a list of objects")
    return Item(
        name=name,
        kind=Kind(kind),
        contains=tuple(
            Contained(item=_text(each, "item", where), maker=_text_or_none(each, "maker", where))
            for each in inside
        ),
        book_complete=complete,
    )


def _list(given: Given, name: str, where: str) -> list[Any]:
    value = given.get(name)
    if not isinstance(value, list):
        raise BadStory(f"{where}: {name} is {_shown(given, name)}, not a list")
    return value


def _object(given: Given, name: str, where: str) -> dict[str, Any]:
    value = given.get(name)
    if not isinstance(value, dict):
        raise BadStory(f"{where}: {name} is {_shown(given, name)}, not an object")
    return value


def _text(given: Given, name: str, where: str) -> str:
    value = given.get(name)
    if not isinstance(value, str) or not value.strip():
        raise BadStory(f"{where}: {name} is {_shown(given, name)}, not a text")
    return value


def _text_or_none(given: Given, name: str, where: str) -> str | None:
    return None if given.get(name) is None else _text(given, name, where)


def _whole(given: Given, name: str, where: str) -> int:
    value = given.get(name)
    if not isinstance(value, int) or isinstance(value, bool) or value < 0:
        raise BadStory(f"{where}: {name} is {_shown(given, name)}, not a number of pieces")
    return value


def _flag(given: Given, name: str, where: str) -> bool:
    value = given.get(name)
    if not isinstance(value, bool):
        raise BadStory(f"{where}: {name} is {_shown(given, name)}, neither true nor false")
    return value


def _moment(given: Given, name: str, where: str) -> datetime:
    text = _text(given, name, where)
    try:
        return moment(text)
    except (ValueError, OverflowError):
        raise BadStory(f"{where}: {name} {text!r} is not a time with its zone") from None


def _moment_or_none(given: Given, name: str, where: str) -> datetime | None:
    return None if given.get(name) is None else _moment(given, name, where)


def _day_or_none(given: Given, name: str, where: str) -> date | None:
    text = _text_or_none(given, name, where)
    try:
        return None if text is None else date.fromisoformat(text)
    except ValueError:
        raise BadStory(f"{where}: {name} {text!r} is not a day YYYY-MM-DD") from None


def _texts(given: Given, name: str, where: str) -> tuple[str, ...]:
    values = _list(given, name, where)
    if not all(isinstance(value, str) and value.strip() for value in values):
        raise BadStory(f"{where}: {name} holds {values!r}, not texts only")
    return tuple(values)


def _shown(given: Given, name: str) -> str:
    return repr(given[name])[:60] if name in given else "missing"


Reader: TypeAlias = Callable[[Given, str, str], Any]


def _part(given: Given, name: str, where: str) -> dict[str, Any]:
    return _read_part(_object(given, name, where), f"{where}, {name}")


def _part_or_none(given: Given, name: str, where: str) -> dict[str, Any] | None:
    return None if given.get(name) is None else _part(given, name, where)


def _parts(given: Given, name: str, where: str) -> tuple[dict[str, Any], ...]:
    values = _list(given, name, where)
    if not all(isinstance(value, dict) for value in values):
        raise BadStory(f"{where}: {name} is not a list of objects")
    return tuple(_read_part(value, f"{where}, {name}") for value in values)


def _inner(given: Given, name: str, where: str) -> dict[str, Any]:
    inner = _object(given, name, where)
    return {"item": _text(inner, "item", where), "lot": _text(inner, "lot", where)}


PART: Final[Mapping[str, Reader]] = {
    "p": _text,
    "item": _text,
    "maker": _text_or_none,
    "lot": _text_or_none,
    "serial": _text_or_none,
    "box": _text_or_none,
}

FACTS: Final[Mapping[str, Mapping[str, Reader]]] = {
    "receipt": {
        "item": _text,
        "maker": _text,
        "lot": _text,
        "qty": _whole,
        "box": _text_or_none,
        "made": _day_or_none,
        "shipped": _day_or_none,
    },
    "stock_out": {"item": _text, "maker": _text_or_none, "lot": _text_or_none, "qty": _whole},
    "prime": {"circuit": _text, "parts": _parts},
    "swap": {"circuit": _text, "out": _text_or_none, "part_in": _part_or_none},
    "connect": {"circuit": _text, "patient": _text},
    "disconnect": {"circuit": _text},
    "transfer_out": {"circuit": _text},
    "discard": {"circuit": _text},
    "foreign_in": {"circuit": _text},
    "foreign_list": {"circuit": _text, "complete": _flag, "parts": _parts},
    "equip_register": {"item": _text, "maker": _text, "serial": _text},
    "equip_on": {
        "circuit": _text,
        "p": _text,
        "item": _text,
        "maker": _text_or_none,
        "serial": _text_or_none,
    },
    "equip_off": {"p": _text},
    "carton_notice": {
        "pack_item": _text,
        "pack_maker": _text,
        "pack_lots": _texts,
        "inner": _inner,
        "sole": _flag,
        "complete": _flag,
    },
    "ruling": {"item": _text, "maker": _text, "captured": _text, "notice": _text, "same": _flag},
    "merge": {"from": _text, "into": _text},
    "correction": {"of": _text, "part": _text_or_none},
}
"""What each type of fact says besides its id and times; other keys are ignored."""


def _read_part(given: Given, where: str) -> dict[str, Any]:
    return {name: reader(given, name, where) for name, reader in PART.items()}


def _fact(given: object, place: int) -> Given:
    where = f"fact {place}"
    if not isinstance(given, dict):
        raise BadStory(f"{where} is not an object")
    where = f"fact {_text(given, 'id', where)}"
    kind = _text(given, "type", where)
    if kind not in FACTS:
        raise BadStory(f"{where}: type {kind!r} is none that is known")
    at = _moment(given, "at", where)
    said = {name: reader(given, name, where) for name, reader in FACTS[kind].items()}
    recorded_at = _moment_or_none(given, "recorded_at", where) or at
    fact = {"id": given["id"], "type": kind, "at": at, "recorded_at": recorded_at} | said
    if kind == "correction":
        if not isinstance(given.get("void"), bool | None):
            raise BadStory(f"{where}: void is neither true nor false")
        changes = _object(given, "set", where) if given.get("set") is not None else {}
        fact |= {"void": given.get("void") is True, "set": changes}
    return fact


def _question(given: object, place: int) -> Given:
    where = f"question {place}"
    if not isinstance(given, dict):
        raise BadStory(f"{where} is not an object")
    where = f"question {_text(given, 'id', where)}"
    return {
        "id": given["id"],
        "as_of": _moment(given, "as_of", where),
        "scope": _object(given, "scope", where),
    }


def _require_sound(story: Story) -> None:
    """Check what several facts say together: ids, and what corrections correct."""
    ids: dict[str, Given] = {}
    for fact in story.facts:
        if fact["id"] in ids:
            raise BadStory(f"two facts have the id {fact['id']}")
        ids[fact["id"]] = fact
    for fact in story.facts:
        if fact["type"] == "correction":
            _correction(fact, ids)


def _correction(fact: Given, ids: Mapping[str, Given]) -> None:
    where = f"fact {fact['id']}"
    target = ids.get(fact["of"])
    if target is None:
        raise BadStory(f"{where}: there is no fact {fact['of']} to correct")
    readers = dict(FACTS[target["type"]])
    of_part = fact["part"] is not None and target["type"] not in {"equip_on", "correction"}
    if of_part:
        readers = dict(PART)
    elif target["type"] != "correction":
        readers["at"] = _moment
    else:
        readers |= {"at": _moment, "void": _flag, "set": _object}
    for name in fact["set"]:
        if name in readers:
            fact["set"][name] = readers[name](fact["set"], name, where)
        elif name not in {"reason", "by", "to"}:
            raise BadStory(f"{where}: a {target['type']} has no {name} to correct")
