"""What is gathered for one answer: uses for the rules, and the record's row behind each."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from typing import Any, TypeAlias
from uuid import UUID

from sqlalchemy import Row

from traceability.domain.at_the_run import ADDITIVE_KIND
from traceability.domain.days import last_day_of_use
from traceability.domain.parts import UNKNOWN_KIND, Known
from traceability.domain.shelves.facts import PartIn
from traceability.domain.shelves.situation import Use
from traceability.domain.spans import Span
from traceability.domain.trolley import FLUID_KIND
from traceability.recall.asked import ANY_KIND

__all__ = ["Gathered", "RowKey", "Seen", "circuit_name", "other_items", "run_name"]

RowKey: TypeAlias = tuple[UUID, int, int, str]
"""Site, ledger number, line, and what else tells uses of one row apart."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """The row behind a use: a part, a run part, or a machine."""

    part_id: UUID
    circuit_id: UUID | None
    run_id: UUID | None
    slot: str
    ordinal: int
    kind: str
    product_id: UUID | None
    lot: str | None
    serial: str | None
    known: str
    state: str
    start: datetime
    end: datetime | None
    recorded_no: int
    leaves: bool = False
    stays: bool = False
    place: str = ""
    """Of a machine that stood in the same place; of a run part, where it lies."""


@dataclass(slots=True)
class Gathered:
    """Uses in the order in which they were found, each row once."""

    uses: list[Use] = field(default_factory=list)
    seen: list[Seen] = field(default_factory=list)
    """By the key of the use."""
    by_row: dict[RowKey, int] = field(default_factory=dict)
    primed: dict[UUID, datetime] = field(default_factory=dict)
    """When the prime ended, of circuits with parts that left or leave."""

    def was_dropped(self, seen: Seen) -> bool:
        """Tell a part discarded before use from one swapped out later."""
        primed = self.primed.get(seen.circuit_id) if seen.circuit_id else None
        return seen.end is not None and primed is not None and seen.end < primed

    def add(self, row: RowKey, use: Mapping[str, Any], seen: Seen) -> int:
        """Add a use and return its key; a row that is there already keeps its own."""
        key = self.by_row.get(row)
        if key is None:
            key = self.by_row[row] = len(self.uses)
            self.uses.append(Use(key=key, **use))
            self.seen.append(seen)
        return key

    def may_be(self, key: int, items: frozenset[str]) -> None:
        """Let a use be of other items as well."""
        use = self.uses[key]
        if not items <= use.may_be:
            self.uses[key] = replace(use, may_be=use.may_be | items)


def circuit_name(circuit_id: UUID) -> str:
    """Return the name under which the rules know a circuit."""
    return str(circuit_id)


def run_name(run_id: UUID) -> str:
    """Return the name under which the rules know what a run had besides its circuits."""
    return f"run {run_id}"


def other_items(kind: str, items: frozenset[str]) -> frozenset[str]:
    """Return what a part without its product may be besides what it was put in as.

    What nobody could name may be anything; a fluid may have been given as an additive.
    """
    if kind == UNKNOWN_KIND:
        return items
    others = items & {ANY_KIND}
    return others | (items & {FLUID_KIND}) if kind == ADDITIVE_KIND else others


def part_times(
    row: Row[Any], primed_at: datetime | None
) -> tuple[datetime | None, tuple[Span, ...] | None]:
    """Return when a part was out at the latest, and when it was in for certain; None: all along.

    A fluid stays whatever happens to its bag, also if the bag was spoilt after some had run in. A
    part used for priming leaves with the prime's end; while that is not recorded nobody can say how
    long it was in.
    """
    start: datetime = row.valid_from
    end: datetime | None = None if row.stays else row.valid_to
    if row.leaves and primed_at is not None:
        return max(primed_at if end is None else min(end, primed_at), start), None
    if row.leaves:
        return end, ()
    if row.stays and row.valid_to is not None:
        return end, _span(start, row.valid_to)
    return end, None


class PartMaker:
    """Makes uses of part rows; what thousands of rows have in common is made once."""

    def __init__(self) -> None:
        """Start with nothing made."""
        self._parts: dict[tuple[Any, ...], PartIn] = {}
        self._makers: dict[UUID | None, str | None] = {None: None}
        self._circuits: dict[UUID, str] = {}

    def use(
        self,
        row: Row[Any],
        item: str,
        primed_at: datetime | None,
        pack: int | None,
    ) -> dict[str, Any]:
        """Return the fields of a part's use; `row` has the columns of `known_parts`."""
        end, certain = part_times(row, primed_at)
        if row.product_id not in self._makers:
            self._makers[row.product_id] = str(row.product_id)
        if row.circuit_id not in self._circuits:
            self._circuits[row.circuit_id] = circuit_name(row.circuit_id)
        return {
            "part": self._part(item, self._makers[row.product_id], row),
            "circuit": self._circuits[row.circuit_id],
            "start": row.valid_from,
            "end": end,
            "foreign": row.known == Known.STATED,
            "counted": row.known == Known.COUNTED,
            "disputed": row.disputed,
            "certain": certain,
            "pack": pack,
        }

    def _part(self, item: str, maker: str | None, row: Row[Any]) -> PartIn:
        key = (item, maker, row.text, row.serial, row.expiry)
        if key not in self._parts:
            self._parts[key] = PartIn(
                p="",
                item=item,
                maker=maker,
                lot=row.text,
                serial=row.serial,
                expiry=_day(row.expiry),
            )
        return self._parts[key]


def part_seen(row: Row[Any]) -> Seen:
    """Return what the record says of a part."""
    return Seen(
        part_id=row.part_id,
        circuit_id=row.circuit_id,
        run_id=None,
        slot=row.slot,
        ordinal=row.ordinal,
        kind=row.kind,
        product_id=row.product_id,
        lot=row.text,
        serial=row.serial,
        known=row.known,
        state=row.state,
        start=row.valid_from,
        end=row.valid_to,
        recorded_no=row.recorded_no,
        leaves=row.leaves,
        stays=row.stays,
    )


def _span(start: datetime, end: datetime | None) -> tuple[Span, ...]:
    return () if end is not None and end <= start else (Span(start=start, end=end),)


def _day(printed: str | None) -> date | None:
    return None if printed is None else last_day_of_use(printed)
