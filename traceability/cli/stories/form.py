"""The form of a story's file: what has to be there, said in a sentence where it is not.

Only shapes are checked here; what the facts mean is for the acts that take them in.
"""

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, TypeAlias
from zoneinfo import ZoneInfo

from traceability.cli.stories.fields import (
    BadStory,
    Given,
    a_count,
    a_flag,
    a_list,
    a_moment,
    a_text,
    an_object,
    day_or_none,
    moment,
    moment_or_none,
    text_or_none,
    texts,
)
from traceability.domain.shelves.facts import Contained, Item, Kind

__all__ = ["BadStory", "Given", "Story", "moment", "read_story"]

LARGEST_FILE: Final = 10_000_000
"""Bytes; a story has some tens of facts. Own choice."""


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
    facts = a_list(file, "facts", "the story")
    questions = a_list(file, "questions", "the story")
    story = Story(
        id=a_text(file, "id", "the story"),
        zone=_zone(file),
        items=_items(file),
        facts=[_fact(fact, place) for place, fact in enumerate(facts, start=1)],
        questions=[_question(asked, place) for place, asked in enumerate(questions, start=1)],
    )
    _require_sound(story)
    return story


def _no_number(name: str) -> object:
    raise ValueError(f"{name} is no number")


def _zone(file: Given) -> ZoneInfo:
    name = a_text(file, "zone", "the story")
    try:
        return ZoneInfo(name)
    except (KeyError, OSError, ValueError):
        raise BadStory(f"zone: {name!r} is not a time zone") from None


def _items(file: Given) -> dict[str, Item]:
    given = an_object(file, "items", "the story")
    complete = file.get("stock_book_complete") or {}
    if not isinstance(complete, dict):
        raise BadStory("stock_book_complete is not an object")
    return {name: _item(name, each, complete.get(name) is True) for name, each in given.items()}


def _item(name: str, given: object, complete: bool) -> Item:
    where = f"item {name}"
    if not isinstance(given, dict):
        raise BadStory(f"{where} is not an object")
    kind = a_text(given, "kind", where)
    if kind not in set(Kind):
        raise BadStory(f"{where}: kind {kind!r} is none of {', '.join(Kind)}")
    inside = given.get("contains") or []
    if not isinstance(inside, list) or not all(isinstance(each, dict) for each in inside):
        raise BadStory(f"{where}: contains is not a list of objects")
    return Item(
        name=name,
        kind=Kind(kind),
        contains=tuple(
            Contained(item=a_text(each, "item", where), maker=text_or_none(each, "maker", where))
            for each in inside
        ),
        book_complete=complete,
    )


Reader: TypeAlias = Callable[[Given, str, str], Any]


def _part(given: Given, name: str, where: str) -> dict[str, Any]:
    return _read_part(an_object(given, name, where), f"{where}, {name}")


def _part_or_none(given: Given, name: str, where: str) -> dict[str, Any] | None:
    return None if given.get(name) is None else _part(given, name, where)


def _parts(given: Given, name: str, where: str) -> tuple[dict[str, Any], ...]:
    values = a_list(given, name, where)
    if not all(isinstance(value, dict) for value in values):
        raise BadStory(f"{where}: {name} is not a list of objects")
    return tuple(_read_part(value, f"{where}, {name}") for value in values)


def _inner(given: Given, name: str, where: str) -> dict[str, Any]:
    inner = an_object(given, name, where)
    return {"item": a_text(inner, "item", where), "lot": a_text(inner, "lot", where)}


PART: Final[Mapping[str, Reader]] = {
    "p": a_text,
    "item": a_text,
    "maker": text_or_none,
    "lot": text_or_none,
    "serial": text_or_none,
    "box": text_or_none,
}

FACTS: Final[Mapping[str, Mapping[str, Reader]]] = {
    "receipt": {
        "item": a_text,
        "maker": a_text,
        "lot": a_text,
        "qty": a_count,
        "box": text_or_none,
        "made": day_or_none,
        "shipped": day_or_none,
    },
    "stock_out": {"item": a_text, "maker": text_or_none, "lot": text_or_none, "qty": a_count},
    "prime": {"circuit": a_text, "parts": _parts},
    "swap": {"circuit": a_text, "out": text_or_none, "part_in": _part_or_none},
    "connect": {"circuit": a_text, "patient": a_text},
    "disconnect": {"circuit": a_text},
    "transfer_out": {"circuit": a_text},
    "discard": {"circuit": a_text},
    "foreign_in": {"circuit": a_text},
    "foreign_list": {"circuit": a_text, "complete": a_flag, "parts": _parts},
    "equip_register": {"item": a_text, "maker": a_text, "serial": a_text},
    "equip_on": {
        "circuit": a_text,
        "p": a_text,
        "item": a_text,
        "maker": text_or_none,
        "serial": text_or_none,
    },
    "equip_off": {"p": a_text},
    "carton_notice": {
        "pack_item": a_text,
        "pack_maker": a_text,
        "pack_lots": texts,
        "inner": _inner,
        "sole": a_flag,
        "complete": a_flag,
    },
    "ruling": {
        "item": a_text,
        "maker": a_text,
        "captured": a_text,
        "notice": a_text,
        "same": a_flag,
    },
    "merge": {"from": a_text, "into": a_text},
    "correction": {"of": a_text, "part": text_or_none},
}
"""What each type of fact says besides its id and times; other keys are ignored."""


def _read_part(given: Given, where: str) -> dict[str, Any]:
    return {name: reader(given, name, where) for name, reader in PART.items()}


def _fact(given: object, place: int) -> Given:
    where = f"fact {place}"
    if not isinstance(given, dict):
        raise BadStory(f"{where} is not an object")
    where = f"fact {a_text(given, 'id', where)}"
    kind = a_text(given, "type", where)
    if kind not in FACTS:
        raise BadStory(f"{where}: type {kind!r} is none that is known")
    at = a_moment(given, "at", where)
    said = {name: reader(given, name, where) for name, reader in FACTS[kind].items()}
    recorded_at = moment_or_none(given, "recorded_at", where) or at
    fact = {"id": given["id"], "type": kind, "at": at, "recorded_at": recorded_at} | said
    if kind == "correction":
        if not isinstance(given.get("void"), bool | None):
            raise BadStory(f"{where}: void is neither true nor false")
        changes = an_object(given, "set", where) if given.get("set") is not None else {}
        fact |= {"void": given.get("void") is True, "set": changes}
    return fact


def _question(given: object, place: int) -> Given:
    where = f"question {place}"
    if not isinstance(given, dict):
        raise BadStory(f"{where} is not an object")
    where = f"question {a_text(given, 'id', where)}"
    return {
        "id": given["id"],
        "as_of": a_moment(given, "as_of", where),
        "scope": an_object(given, "scope", where),
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
        readers["at"] = a_moment
    else:
        readers |= {"at": a_moment, "void": a_flag, "set": an_object}
    for name in fact["set"]:
        if name in readers:
            fact["set"][name] = readers[name](fact["set"], name, where)
        elif name not in {"reason", "by", "to"}:
            raise BadStory(f"{where}: a {target['type']} has no {name} to correct")
