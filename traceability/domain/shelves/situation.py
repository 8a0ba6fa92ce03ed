"""What is known at one moment: parts in circuits, circuits on patients, the stock book.

Made from facts by `situation_at`, or by a store from its own links. Source of the rules: own
definitions, common practice, no source.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import TypeVar
from zoneinfo import ZoneInfo

from traceability.domain.shelves import facts as told
from traceability.domain.shelves.corrections import visible
from traceability.domain.shelves.reasons import Reason
from traceability.domain.spans import Span, span

__all__ = ["CircuitKnown", "Connection", "Situation", "Use", "situation_at"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Use:
    """One unit in one circuit for one time."""

    key: int
    """Its number within the situation."""
    part: told.PartIn
    circuit: str
    start: datetime
    end: datetime | None
    """Not after `start` where it was in and out in the same minute: it still used a unit."""
    foreign: bool = False
    """Stated by another hospital; no unit of our stock."""
    equipment: bool = False
    pack: int | None = None
    """Key of the pack it is inside; its own lot was never scanned."""
    may_be: frozenset[str] = frozenset()
    """Other items it may be as well, since nobody could say what it is."""
    disputed: bool = False
    """Another claim stands against it: it, or something else, was in that place."""
    counted: bool = False
    """Counted by hand from a carton whose code was read once: nobody read the piece itself."""
    doubts: frozenset[Reason] = frozenset()
    """What leaves open whether it met anybody at all, whatever it is."""
    certain: tuple[Span, ...] | None = None
    """When it was certainly there; None: all the time that it may have been."""

    @property
    def there(self) -> Span | None:
        """When it was, or may have been, in the circuit; None: never."""
        return span(self.start, self.end)

    @property
    def counts(self) -> bool:
        """Whether it certainly took a unit of our own stock."""
        return not (self.foreign or self.equipment or self.disputed or self.pack is not None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Connection:
    """One circuit on one patient."""

    circuit: str
    patient: str
    """The identity it is known under now, merges followed to their end."""
    start: datetime
    end: datetime | None
    transferred: bool = False
    """It ends because the circuit left: our record ends, not the exposure."""
    doubts: frozenset[Reason] = frozenset()
    """Why it is not certain for all its time; empty where it is."""
    certain: Span | None = None
    """With doubts: the part of it that is certain all the same; None: nothing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CircuitKnown:
    """A circuit, and since when it holds what nobody told us."""

    name: str
    unknown_since: datetime | None = None
    """None: its contents are recorded."""
    why: Reason = Reason.CONTENTS_UNKNOWN
    """What leaves its contents open."""
    of_run: bool = False
    """No circuit, but all that met a run's patient besides its circuits."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Situation:
    """All that a question is answered from."""

    zone: ZoneInfo
    """Of the hospital: its receipt dates are local days."""
    items: Mapping[str, told.Item]
    receipts: tuple[told.Receipt, ...] = ()
    outs: tuple[told.StockOut, ...] = ()
    uses: tuple[Use, ...] = ()
    connections: tuple[Connection, ...] = ()
    circuits: tuple[CircuitKnown, ...] = ()
    register: tuple[told.Register, ...] = ()
    notices: tuple[told.CartonNotice, ...] = ()
    rulings: tuple[told.Ruling, ...] = ()
    """Oldest first: the newest of a pair counts."""
    free: Mapping[str, tuple[told.Receipt, ...]] = field(default_factory=dict)
    """By item, where a store keeps it: what came and was taken by no recorded use, nor needed by a
    later one. It then stands for receipts and recorded uses together."""
    by_circuit: Mapping[str, tuple[Use, ...]] = field(init=False)

    def __post_init__(self) -> None:
        """Index the uses by circuit."""
        found: dict[str, list[Use]] = {}
        for use in self.uses:
            found.setdefault(use.circuit, []).append(use)
        object.__setattr__(self, "by_circuit", {c: tuple(us) for c, us in found.items()})


_F = TypeVar("_F", bound=told.Fact)


def situation_at(
    facts: Iterable[told.Fact],
    *,
    as_of: datetime,
    items: Mapping[str, told.Item],
    zone: ZoneInfo,
) -> Situation:
    """Return what the facts say at `as_of` (aware), as corrected and entered by then."""
    return _Reader(visible(facts, as_of), items, zone).read()


class _Reader:
    """Walks the standing facts once; they come in order of time."""

    def __init__(
        self, facts: tuple[told.Fact, ...], items: Mapping[str, told.Item], zone: ZoneInfo
    ) -> None:
        self.facts, self.items, self.zone = facts, items, zone
        self.uses: list[Use] = []
        self.outs_of_part: dict[tuple[str, str], list[datetime]] = {}
        for swap in self.every(told.Swap):
            if swap.out is not None:
                self.outs_of_part.setdefault((swap.circuit, swap.out), []).append(swap.at)

    def every(self, kind: type[_F]) -> Iterator[_F]:
        return (fact for fact in self.facts if isinstance(fact, kind))

    def read(self) -> Situation:
        circuits = self.circuits()
        for prime in self.every(told.Prime):
            for part in prime.parts:
                self.put_in(part, prime.circuit, prime.at)
        for swap in self.every(told.Swap):
            if swap.part_in is not None:
                self.put_in(swap.part_in, swap.circuit, swap.at)
        self.foreign_parts()
        self.equipment()
        return Situation(
            zone=self.zone,
            items=self.items,
            receipts=tuple(self.every(told.Receipt)),
            outs=tuple(self.every(told.StockOut)),
            uses=tuple(self.uses),
            connections=tuple(self.connections()),
            circuits=circuits,
            register=tuple(self.every(told.Register)),
            notices=tuple(self.every(told.CartonNotice)),
            rulings=tuple(self.every(told.Ruling)),
        )

    def arrivals(self) -> dict[str, datetime]:
        """Return the first moment each circuit is heard of."""
        first: dict[str, datetime] = {}
        for fact in self.facts:
            match fact:
                case (
                    told.Prime()
                    | told.ForeignIn()
                    | told.ForeignList()
                    | told.Connect()
                    | told.Swap()
                    | told.EquipOn()
                ):
                    first.setdefault(fact.circuit, fact.at)
                case _:
                    pass
        return first

    def circuits(self) -> tuple[CircuitKnown, ...]:
        """Return all circuits; unknown are the foreign ones and those without a visible prime."""
        primed = {prime.circuit for prime in self.every(told.Prime)}
        came = {fact.circuit: fact.at for fact in self.every(told.ForeignIn)}
        complete = {fact.circuit: fact.complete for fact in self.every(told.ForeignList)}
        known = []
        for name, first in sorted(self.arrivals().items()):
            recorded = name in primed and name not in came
            since = None if recorded or complete.get(name, False) else first
            if since is not None and name in primed:
                since = came[name]  # ours, and back from elsewhere: open only since its return
            known.append(CircuitKnown(name=name, unknown_since=since))
        return tuple(known)

    def left(self, circuit: str, p: str, start: datetime) -> datetime | None:
        times = self.outs_of_part.get((circuit, p), ())
        return min((at for at in times if at >= start), default=None)

    def put_in(
        self, part: told.PartIn, circuit: str, start: datetime, *, foreign: bool = False
    ) -> None:
        item = self.items.get(part.item) or told.Item(name=part.item)
        out = self.left(circuit, part.p, start)
        key = len(self.uses)
        end = None if item.kind is told.Kind.FLUID else out
        self.uses.append(
            Use(key=key, part=part, circuit=circuit, start=start, end=end, foreign=foreign)
        )
        if item.kind is not told.Kind.PACK:
            return
        for inner in item.contains:
            name = f"{part.p}/{inner.item}"
            fluid = inner.item in self.items and self.items[inner.item].kind is told.Kind.FLUID
            gone = (self.left(circuit, name, start), out)
            self.uses.append(
                Use(
                    key=len(self.uses),
                    part=told.PartIn(p=name, item=inner.item, maker=inner.maker or part.maker),
                    circuit=circuit,
                    start=start,
                    end=None if fluid else min((at for at in gone if at), default=None),
                    foreign=foreign,
                    pack=key,
                )
            )

    def foreign_parts(self) -> None:
        """Add the listed parts; a later list's word on a part of the same name replaces it."""
        first = self.arrivals()
        listed: dict[tuple[str, str], told.PartIn] = {}
        for fact in self.every(told.ForeignList):
            for part in fact.parts:
                listed[fact.circuit, part.p] = part
        primed = {prime.circuit for prime in self.every(told.Prime)}
        back = {f.circuit: f.at for f in self.every(told.ForeignIn) if f.circuit in primed}
        for (circuit, _), part in listed.items():
            self.put_in(part, circuit, back.get(circuit, first[circuit]), foreign=True)

    def equipment(self) -> None:
        offs: dict[str, list[datetime]] = {}
        for off in self.every(told.EquipOff):
            offs.setdefault(off.p, []).append(off.at)
        for on in self.every(told.EquipOn):
            end = min((at for at in offs.get(on.p, ()) if at >= on.at), default=None)
            part = told.PartIn(p=on.p, item=on.item, maker=on.maker, serial=on.serial)
            self.uses.append(
                Use(
                    key=len(self.uses),
                    part=part,
                    circuit=on.circuit,
                    start=on.at,
                    end=end,
                    equipment=True,
                )
            )

    def connections(self) -> Iterator[Connection]:
        into = {merge.source: merge.into for merge in self.every(told.Merge)}
        ends: dict[str, list[tuple[datetime, bool]]] = {}
        for fact in self.facts:
            if isinstance(fact, told.Disconnect | told.TransferOut):
                left = isinstance(fact, told.TransferOut)
                ends.setdefault(fact.circuit, []).append((fact.at, left))
        for on in self.every(told.Connect):
            later = [end for end in ends.get(on.circuit, ()) if end[0] >= on.at]
            end, left = min(later, key=lambda e: e[0], default=(None, False))
            yield Connection(
                circuit=on.circuit,
                patient=_merged(on.patient, into),
                start=on.at,
                end=end,
                transferred=left,
            )


def _merged(patient: str, into: Mapping[str, str]) -> str:
    """Follow merges to their end; of a chain that bites its tail, one name stands for all."""
    seen = [patient]
    while (following := into.get(seen[-1])) is not None:
        if following in seen:
            return min(seen[seen.index(following) :])
        seen.append(following)
    return seen[-1]
