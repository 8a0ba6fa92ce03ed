"""Rows of an answer as they are kept, and what differs between two answers, with why.

A row holds ids, a shelf, reasons and times, and no text of a patient. What was answered once can
so be compared with what would be answered now, and nothing needs to be computed again.
"""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Final
from uuid import UUID

from traceability.domain.events import Plain
from traceability.domain.exposure import Shelf
from traceability.domain.spans import Span

__all__ = [
    "Because",
    "Change",
    "Changed",
    "Key",
    "KnownRow",
    "Subject",
    "because",
    "differences",
    "key_of",
    "read_row",
    "row_body",
]


class Subject(StrEnum):
    """What a row is about."""

    CIRCUIT = "circuit"
    PATIENT = "patient"
    RUN = "run"
    """A run whose patient nobody has named."""
    STOCK = "stock"
    MACHINE = "machine"


NONE: Final = "-"
"""Stands for a lot or a place that is not given."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Key:
    """What a row is about; two answers' rows of one key are about the same thing."""

    subject: Subject
    ids: tuple[UUID | None, ...]
    """One id; of stock: product, lot, place."""

    @property
    def text(self) -> str:
        """The key as it is stored."""
        return " ".join([self.subject, *(str(each) if each else NONE for each in self.ids)])


def key_of(text: str) -> Key:
    """Return the key of its stored text.

    Raises:
        ValueError: it is none.
    """
    subject, *ids = text.split(" ")
    return Key(
        subject=Subject(subject),
        ids=tuple(None if each == NONE else UUID(each) for each in ids),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownRow:
    """One row of an answer, as it is kept."""

    key: str
    shelf: Shelf
    reasons: tuple[str, ...] = ()
    """Codes; why it cannot be excluded."""
    sure: tuple[Span, ...] = ()
    possible: tuple[Span, ...] = ()
    """Of a patient: contains `sure`. Of a circuit: when the parts were in it."""
    quantity: int | None = None
    """Of stock: units by the book."""
    going_on: bool = False
    runs: tuple[UUID, ...] = ()
    circuits: tuple[UUID, ...] = ()
    """Of a patient: circuits through which it was met."""
    lots: tuple[str, ...] = ()
    """Lots or serials that put it there, a few at most."""


class Change(StrEnum):
    """How a row differs between two answers."""

    NEW = "new"
    SHELF = "shelf"
    TIMES = "times"
    COUNT = "count"
    GONE = "gone"


@dataclass(frozen=True, slots=True, kw_only=True)
class Changed:
    """A row that is not as it was."""

    key: str
    change: Change
    before: KnownRow | None
    after: KnownRow | None


def differences(before: Iterable[KnownRow], after: Iterable[KnownRow]) -> tuple[Changed, ...]:
    """Return what changed, each row once by the weightiest of its changes, in a fixed order.

    Reasons alone are no change of their own: the shelf is what is answered.
    """
    old, new = ({row.key: row for row in rows} for rows in (before, after))
    found = []
    for key in sorted(old.keys() | new.keys()):
        change = _change(old.get(key), new.get(key))
        if change is not None:
            found.append(Changed(key=key, change=change, before=old.get(key), after=new.get(key)))
    return tuple(sorted(found, key=lambda each: list(Change).index(each.change)))


def _change(old: KnownRow | None, new: KnownRow | None) -> Change | None:
    if old is None:
        return Change.NEW
    if new is None:
        return Change.GONE
    if old.shelf is not new.shelf:
        return Change.SHELF
    if (old.sure, old.possible) != (new.sure, new.possible):
        return Change.TIMES
    return Change.COUNT if old.quantity != new.quantity else None


class Because(StrEnum):
    """Why a row is not as it was."""

    AMENDMENT = "amendment"
    ENTRIES = "entries"
    BOTH = "both"
    """The scope was amended and entries were made that touch the row: either may be why."""
    ELSEWHERE = "elsewhere"
    """No entry names the row itself: a count, a ruling or a notice on packs moved it."""


def because(versions: tuple[int, int], entries: Collection[int]) -> Because:
    """Return why, from the two versions of the scope and the entries that touch the row."""
    if versions[0] != versions[1]:
        return Because.BOTH if entries else Because.AMENDMENT
    return Because.ENTRIES if entries else Because.ELSEWHERE


def row_body(row: KnownRow) -> dict[str, Plain]:
    """Return a row as plain values, what is empty left out; `read_row` reads it back."""
    made: dict[str, Plain] = {
        "key": row.key,
        "shelf": str(row.shelf),
        "reasons": list(row.reasons),
        "sure": _ends(row.sure),
        "possible": _ends(row.possible),
        "quantity": row.quantity,
        "on": row.going_on,
        "runs": [str(each) for each in row.runs],
        "circuits": [str(each) for each in row.circuits],
        "lots": list(row.lots),
    }
    return {name: value for name, value in made.items() if value or _is_none_left(name, value)}


def _is_none_left(name: str, value: Plain) -> bool:
    """Tell a count of zero from what was not counted."""
    return name == "quantity" and value is not None


def read_row(body: Mapping[str, Plain]) -> KnownRow:
    """Return what `row_body` wrote."""
    quantity = body.get("quantity")
    return KnownRow(
        key=str(body["key"]),
        shelf=Shelf(str(body["shelf"])),
        reasons=tuple(_texts(body, "reasons")),
        sure=_spans(body, "sure"),
        possible=_spans(body, "possible"),
        quantity=quantity if isinstance(quantity, int) else None,
        going_on=body.get("on") is True,
        runs=tuple(UUID(each) for each in _texts(body, "runs")),
        circuits=tuple(UUID(each) for each in _texts(body, "circuits")),
        lots=tuple(_texts(body, "lots")),
    )


def _ends(spans: Iterable[Span]) -> list[Plain]:
    return [[one.start.isoformat(), one.end.isoformat() if one.end else None] for one in spans]


def _texts(body: Mapping[str, Plain], name: str) -> list[str]:
    value = body.get(name, [])
    return [str(each) for each in value] if isinstance(value, list | tuple) else []


def _spans(body: Mapping[str, Plain], name: str) -> tuple[Span, ...]:
    value = body.get(name, [])
    return tuple(
        Span(start=datetime.fromisoformat(str(start)), end=_moment(end))
        for start, end in (value if isinstance(value, list | tuple) else [])
    )


def _moment(value: Plain) -> datetime | None:
    return datetime.fromisoformat(value) if isinstance(value, str) else None
