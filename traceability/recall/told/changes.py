"""A correction's changes, by name as in the entry's body, said as changes of the facts it told.

What no fact of this form has (a place, a printed expiry) is left out: no answer rests on it.
"""

from collections.abc import Callable, Mapping
from dataclasses import fields
from datetime import UTC, date, datetime
from typing import Final, TypeAlias
from uuid import UUID

from traceability.domain.events import Kind, Plain, Recorded
from traceability.domain.shelves import facts as told
from traceability.recall.told.parts import part_in, part_primed
from traceability.recall.told.patients import patient_name
from traceability.recall.told.registry import Telling
from traceability.storage.runs import Run

__all__ = ["changed"]

FACTS: Final[Mapping[str, type[told.Fact]]] = {
    Kind.PRIME_ENTERED_LATE: told.Prime,
    Kind.PRIME_ENDED: told.Prime,
    Kind.PART_PLACED: told.Swap,
    Kind.PART_DROPPED: told.Swap,
    Kind.PART_SWAPPED: told.Swap,
    "part-added": told.Swap,
    "additive-given": told.Swap,
    Kind.FLOW_ON: told.Connect,
    Kind.FLOW_OFF: told.Disconnect,
    Kind.CIRCUIT_DISCARDED: told.Discard,
    Kind.FOREIGN_ARRIVED: told.ForeignIn,
    Kind.FOREIGN_LISTED: told.ForeignList,
    Kind.PATIENT_SET: told.Merge,
    Kind.PATIENTS_MERGED: told.Merge,
    "stock-received": told.Receipt,
    "stock-out": told.StockOut,
    "equipment-set": told.Register,
    "equipment-on": told.EquipOn,
    "equipment-off": told.EquipOff,
    Kind.CARTON_TOLD: told.CartonNotice,
    Kind.LOT_RULED: told.Ruling,
    Kind.CORRECTED: told.Correction,
}
"""What an entry tells, whose fields its corrections may change."""


PACK: Final = {"item": "pack_item", "maker": "pack_maker"}


def changed(
    telling: Telling, event: Recorded, changes: Plain, *, of_part: bool = False
) -> dict[str, object]:
    """Return the changes by field of the fact, or of one part in it."""
    fact = FACTS.get(event.kind)
    if fact is None or not isinstance(changes, Mapping):
        return {}
    told_by_field: dict[str, object] = {}
    for name, value in changes.items():
        reader = READERS.get(name)
        # A kind or a maker said in words says more exactly what changes than the product does.
        if reader is not None and (name != "product" or not changes.keys() & {"kind", "maker"}):
            told_by_field |= reader(telling, event, value)
    if "lot_text" in changes:
        told_by_field["lot"] = changes["lot_text"]
    if fact is told.CartonNotice:
        told_by_field = {PACK.get(name, name): value for name, value in told_by_field.items()}
    known = {field.name for field in fields(told.PartIn if of_part else fact)}
    return {name: value for name, value in told_by_field.items() if name in known}


Reader: TypeAlias = Callable[[Telling, Recorded, Plain], dict[str, object]]


def _same(name: str) -> Reader:
    return lambda _, __, value: {name: value}


def _moment(_: Telling, __: Recorded, value: Plain) -> dict[str, object]:
    return {"at": datetime.fromisoformat(str(value)).astimezone(UTC)}


def _day(name: str) -> Reader:
    return lambda _, __, value: {name: None if value is None else date.fromisoformat(str(value))}


def _product(telling: Telling, _: Recorded, value: Plain) -> dict[str, object]:
    if value is None:
        return {"maker": None}
    item, maker = telling.item(UUID(str(value)))
    return {"item": item, "maker": maker}


def _inner_product(telling: Telling, _: Recorded, value: Plain) -> dict[str, object]:
    return {"inner_item": telling.item(UUID(str(value)))[0]}


def _run(telling: Telling, _: Recorded, value: Plain) -> dict[str, object]:
    run = telling.session.get_one(Run, (telling.site_id, UUID(str(value))))
    return {"patient": f"run {run.number}"}


def _identity(name: str) -> Reader:
    return lambda telling, _, value: {name: patient_name(telling, str(value))}


def _out(telling: Telling, _event: Recorded, value: Plain) -> dict[str, object]:
    if value is None:
        return {"out": None}
    circuit, _, place = str(value).partition("/")
    slot, _, ordinal = place.rpartition("/")
    if slot and ordinal.isdecimal():
        # Nobody has said yet what was in that place; whoever does so means this part.
        return {"out": telling.awaited.setdefault((circuit, slot, int(ordinal)), str(value))}
    return {"out": telling.part_name(str(value))}


def _rows(name: str) -> Reader:
    """Return the reader of a list of parts; `part_in` holds one at most."""

    def read(telling: Telling, event: Recorded, value: Plain) -> dict[str, object]:
        circuit = event.text("circuit")
        name_part = part_primed if event.kind is Kind.PRIME_ENTERED_LATE else part_in
        rows = [row for row in value if isinstance(row, Mapping)] if isinstance(value, list) else []
        parts = [name_part(telling, event.inner(row), circuit) for row in rows]
        there = tuple(part for part in parts if part is not None)
        return {name: there} if name == "parts" else {name: there[0] if there else None}

    return read


def _lots(_: Telling, __: Recorded, value: Plain) -> dict[str, object]:
    texts = [str(each) for each in value] if isinstance(value, list) else []
    return {"pack_lots": tuple(texts)}


def _of(telling: Telling, _: Recorded, value: Plain) -> dict[str, object]:
    return {"of": telling.facts_of(value)[0]} if isinstance(value, int) else {}


def _part(telling: Telling, _: Recorded, value: Plain) -> dict[str, object]:
    return {"part": None if value is None else telling.part_name(str(value))}


def _changes(telling: Telling, event: Recorded, value: Plain) -> dict[str, object]:
    """Changes of a correction: what they change in turn is the entry it comes down to."""
    root, of_part = event, False
    while root.kind is Kind.CORRECTED:
        of_part = of_part or root.body.get("part") is not None
        below = telling.event(root.number_of("of"))
        if below is None:
            return {}
        root = below
    return {"changes": changed(telling, root, value, of_part=of_part)}


READERS: Final[Mapping[str, Reader]] = {
    "at": _moment,
    "begun_at": _moment,
    "circuit": _same("circuit"),
    "run": _run,
    "patient": _identity("into"),
    "from": _identity("source"),
    "into": _identity("into"),
    "product": _product,
    "inner_product": _inner_product,
    "kind": _same("item"),
    "what": _same("item"),
    "maker": _same("maker"),
    "lot": _same("lot"),
    "serial": _same("serial"),
    "box": _same("box"),
    "quantity": _same("qty"),
    "made": _day("made"),
    "shipped": _day("shipped"),
    "lots": _lots,
    "inner_lot_text": _same("inner_lot"),
    "sole": _same("sole"),
    "complete": _same("complete"),
    "captured": _same("captured"),
    "notice": _same("notice"),
    "same": _same("same"),
    "use": _same("p"),
    "out": _out,
    "parts": _rows("parts"),
    "part_in": _rows("part_in"),
    "of": _of,
    "part": _part,
    "void": _same("void"),
    "changes": _changes,
}
"""Names in bodies; part rows hold the lot's text as `lot`, other bodies as `lot_text`."""
