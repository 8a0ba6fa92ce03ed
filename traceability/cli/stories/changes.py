"""What a correction sets, by the names that the corrected entry's body has for it."""

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from typing import Any, Final, TypeAlias

from traceability.cli.stories.entering import Entering
from traceability.cli.stories.form import BadStory, Given
from traceability.domain.keys import lot_key

__all__ = ["changes_of"]

Setter: TypeAlias = Callable[[Entering, Given, Any], dict[str, Any]]

NAMES: Final[Mapping[str, str]] = {
    "lot": "lot_text",
    "qty": "quantity",
    "box": "box",
    "serial": "serial",
    "captured": "captured",
    "notice": "notice",
    "same": "same",
    "sole": "sole",
    "complete": "complete",
    "item": "kind",
    "pack_item": "kind",
    "maker": "maker",
    "pack_maker": "maker",
    "void": "void",
    "part": "part",
}
"""The file's name for it, and the body's."""


def changes_of(story: Entering, target: Given, given: Given, *, part: str | None) -> dict[str, Any]:
    """Return the changes of an entry, or of one part in it.

    Raises:
        BadStory: the record has no way to say that.
    """
    changes: dict[str, Any] = {}
    for name, value in given.items():
        if name in SETTERS:
            changes |= SETTERS[name](story, target, value)
        elif name in NAMES:
            changes[NAMES[name]] = value
        else:
            raise BadStory(f"{name} of a {target['type']} cannot be corrected")
    in_part = part is not None and target["type"] not in {"equip_on", "correction"}
    return _of_row(story, target, changes, str(part)) if in_part else changes


def _of_row(story: Entering, target: Given, changes: dict[str, Any], part: str) -> dict[str, Any]:
    """Return changes of a part's row, which holds its lot as text and as the lot's key."""
    if "lot_text" in changes:
        changes["lot"] = changes.pop("lot_text")
    parts = [*target.get("parts", ()), *filter(None, [target.get("part_in")])]
    written = next((each for each in parts if each["p"] == part), None)
    if written is not None and changes.keys() & {"lot", "kind", "maker"}:
        now = {"kind": written["item"], "maker": written["maker"], "lot": written["lot"]} | changes
        product = story.product(now["kind"], now["maker"])
        changes["lot_id"] = str(lot_key(product, now["lot"])) if now["lot"] else None
        if changes.keys() & {"kind", "maker"}:
            changes["product"] = str(product)
    return changes


def _at(_: Entering, __: Given, value: datetime) -> dict[str, Any]:
    at = value.isoformat(timespec="microseconds")
    return {"at": at, "begun_at": at, "ended_at": at}


def _circuit(story: Entering, target: Given, value: str) -> dict[str, Any]:
    return {"circuit": str(story.circuit(value, {**target, "circuit": value}))}


def _inner(story: Entering, target: Given, value: Given) -> dict[str, Any]:
    inner = story.product(value["item"], target["pack_maker"])
    return {"inner_product": str(inner), "inner_lot_text": value["lot"]}


def _parts(story: Entering, target: Given, value: Sequence[Given]) -> dict[str, Any]:
    return {"parts": [story.row(target["circuit"], part) for part in value]}


def _part_in(story: Entering, target: Given, value: Given | None) -> dict[str, Any]:
    return {"part_in": [] if value is None else [story.row(target["circuit"], value)]}


def _out(story: Entering, target: Given, value: str | None) -> dict[str, Any]:
    return {"out": None if value is None else story.part_name(target["circuit"], value)}


def _day(name: str) -> Setter:
    return lambda _, __, value: {name: None if value is None else value.isoformat()}


def _set(story: Entering, target: Given, value: Given) -> dict[str, Any]:
    """Changes of a correction: what it set is said anew, by the names of what it corrected."""
    root = target
    while root["type"] == "correction":
        root = story.facts[root["of"]]
    return {"changes": changes_of(story, root, value, part=target["part"])}


SETTERS: Final[Mapping[str, Setter]] = {
    "at": _at,
    "circuit": _circuit,
    "inner": _inner,
    "parts": _parts,
    "part_in": _part_in,
    "out": _out,
    "p": lambda story, _, value: {"use": str(story.use(value))},
    "made": _day("made"),
    "shipped": _day("shipped"),
    "pack_lots": lambda _, __, value: {"lots": list(value)},
    "of": lambda story, _, value: {"of": min(story.numbers(value), default=0)},
    "set": _set,
}
"""What is said otherwise in a body than in the file."""
