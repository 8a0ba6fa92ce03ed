"""What each part says to each clause, over all arrangements that the records allow."""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

from traceability.domain.shelves.book import Pair  # noqa: TC001 - one import style in this room
from traceability.domain.shelves.equipment import EquipmentPlacings
from traceability.domain.shelves.facts import Item, Kind
from traceability.domain.shelves.reasons import Reason
from traceability.domain.shelves.scope import OF_DELIVERY, OF_LOT, Clause
from traceability.domain.shelves.situation import Situation, Use
from traceability.domain.shelves.stock import StockArrangements
from traceability.domain.shelves.values import Judge, Unit, Value, is_asked
from traceability.domain.spans import Span

__all__ = ["Finder", "Finding"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One part under one clause."""

    use: Use
    clause: Clause
    number: int
    """Of the clause within the scope."""
    time: Span
    """When the part was in the circuit, cut to the clause's window."""
    captured: bool
    """Yes from its recorded identifiers alone."""
    yes: frozenset[Unit]
    """Units it may be for which the answer is yes."""
    units: frozenset[Unit]
    """All units it may be; its own identifiers as captured where nothing narrows them."""
    reasons: frozenset[Reason]
    """What keeps it from a plain yes or no; empty where it has one."""

    @property
    def never(self) -> bool:
        """No in every arrangement."""
        return not self.yes and not self.reasons

    @property
    def always(self) -> bool:
        """Yes in every arrangement."""
        return self.yes == self.units


@dataclass(frozen=True, slots=True, kw_only=True)
class _Verdict:
    """What parts that are alike have in common under one clause; fields as in `Finding`."""

    captured: bool
    yes: frozenset[Unit]
    units: frozenset[Unit]
    reasons: frozenset[Reason]


class Finder:
    """Finds and keeps the findings of a scope."""

    def __init__(self, situation: Situation, clauses: tuple[Clause, ...]) -> None:
        """Prepare for one scope; items are arranged when first needed."""
        self.situation, self.clauses = situation, clauses
        self.judge = Judge(situation)
        self._stock: dict[str, StockArrangements | None] = {}
        self._placings: dict[str, EquipmentPlacings] = {}
        self._verdicts: dict[object, _Verdict] = {}
        self._units: dict[tuple[frozenset[Pair], str | None, str | None], frozenset[Unit]] = {}
        self._circuits: dict[str, tuple[Finding, ...]] = {}
        numbered = list(enumerate(clauses))
        self._windowed = {n for n, each in numbered if each.since or each.until}
        self._by_delivery = {n for n, each in numbered if each.asks(OF_DELIVERY)}

    @cached_property
    def _relevant(self) -> frozenset[str]:
        return frozenset(item for clause in self.clauses for item in clause.items)

    def of_circuit(self, circuit: str) -> tuple[Finding, ...]:
        """Return the findings of a circuit's parts, windows applied."""
        if circuit not in self._circuits:
            self._circuits[circuit] = tuple(
                finding
                for use in self.situation.by_circuit.get(circuit, ())
                if use.part.item in self._relevant or use.may_be
                for number, clause in enumerate(self.clauses)
                if (finding := self._find(use, number, clause)) is not None
            )
        return self._circuits[circuit]

    def _find(self, use: Use, number: int, clause: Clause) -> Finding | None:
        if not is_asked(use, clause):
            return None
        there = use.there
        time = clause.cut(there) if number in self._windowed else there
        if time is None:
            return None
        verdict = self._verdict(use, number, clause)
        return Finding(
            use=use,
            clause=clause,
            number=number,
            time=time,
            captured=verdict.captured,
            yes=verdict.yes,
            units=verdict.units,
            reasons=verdict.reasons,
        )

    def _verdict(self, use: Use, number: int, clause: Clause) -> "_Verdict":
        """Judge a part as each unit it may be; parts that are alike are judged once."""
        part = use.part
        settled = part.lot is not None and part.maker is not None and use.pack is None
        # What a part may be when nothing about it is open depends on nothing but itself.
        units = None if settled and not use.equipment else self.units(use)
        pack = None if use.pack is None else self.situation.uses[use.pack].part
        # Deliveries count by the moment and the box of the part itself.
        when = (use.start, part.box) if number in self._by_delivery else None
        key = (
            number,
            (part.item, part.maker, part.lot, part.serial, part.expiry),
            (use.foreign, use.equipment, use.disputed, use.counted, use.doubts, use.may_be),
            pack and (pack.item, pack.maker, pack.lot, pack.serial),
            units,
            when,
        )
        if key not in self._verdicts:
            own = self.judge.captured(use)
            may_be = units or frozenset({own})
            values = {unit: self.judge.value(use, unit, clause) for unit in may_be}
            self._verdicts[key] = _Verdict(
                captured=_is_captured(use) and self.judge.value(use, own, clause).yes,
                yes=frozenset(unit for unit, value in values.items() if value.yes),
                units=may_be,
                reasons=_reasons(use, clause, set(values.values())),
            )
        return self._verdicts[key]

    def units(self, use: Use) -> frozenset[Unit]:
        """Return the units a part may be; of an inner part, those its pack may be."""
        root = use if use.pack is None else self.situation.uses[use.pack]
        own = self.judge.captured(root)
        if root.foreign or root.disputed or root.doubts:
            return frozenset({own})
        if root.equipment:
            placed = self.placings(root.part.item).possible(root)
            if placed is None:
                return frozenset({own})
            return frozenset(Unit(maker=m, lot=own.lot, serial=s) for m, s in placed)
        stock = self.stock(root.part.item)
        pairs = None if stock is None else stock.possible(root)
        if pairs is None:
            return frozenset({own})
        key = (pairs, own.lot, own.serial)
        if key not in self._units:
            self._units[key] = frozenset(
                Unit(maker=maker, lot=own.lot or lot, serial=own.serial) for maker, lot in pairs
            )
        return self._units[key]

    def _item(self, name: str) -> Item:
        return self.situation.items.get(name) or Item(name=name)

    def stock(self, item: str) -> StockArrangements | None:
        """Return the arrangements of an item, None where its book is not complete."""
        if item not in self._stock:
            known = self._item(item)
            uses = (u for u in self.situation.uses if u.part.item == item and u.counts)
            if known.open_books:
                # Of a maker whose book is open nothing can be counted, nor of what may be theirs.
                uses = (u for u in uses if u.part.maker not in {None, *known.open_books})
            self._stock[item] = (
                StockArrangements(self.judge, item, uses) if known.book_complete else None
            )
        return self._stock[item]

    def placings(self, item: str) -> EquipmentPlacings:
        """Return the placings of an item of equipment."""
        if item not in self._placings:
            self._placings[item] = EquipmentPlacings(situation=self.situation, item=item)
        return self._placings[item]

    def certain(self, findings: Iterable[Finding]) -> bool:
        """Return whether in every arrangement at least one of the findings is yes."""
        banned: dict[str, dict[int, set[Unit]]] = {}
        for finding in findings:
            if finding.always:
                return True
            use = finding.use
            root = use if use.pack is None else self.situation.uses[use.pack]
            if finding.yes:
                of_item = banned.setdefault(root.part.item, {})
                of_item.setdefault(root.key, set()).update(finding.yes)
                if of_item[root.key] >= finding.units:
                    return True
        return any(len(keys) > 1 and self._forced(item, keys) for item, keys in banned.items())

    def _forced(self, item: str, banned: dict[int, set[Unit]]) -> bool:
        """Return whether no arrangement of an item keeps all its parts clear at once."""
        roots = [self.situation.uses[key] for key in banned]
        if roots[0].equipment:
            machines = {
                key: frozenset((u.maker or "", u.serial or "") for u in units)
                for key, units in banned.items()
            }
            return not self.placings(item).can_avoid(machines)
        stock = self.stock(item)
        if stock is None:
            return False
        pairs = {}
        for root in roots:
            allowed = stock.possible(root) or frozenset()
            captured = self.judge.captured(root)
            pairs[root.key] = frozenset(
                (maker, lot)
                for maker, lot in allowed
                if Unit(maker=maker, lot=captured.lot or lot, serial=captured.serial)
                in banned[root.key]
            )
        return not stock.can_avoid(pairs)

    def stock_left(self, item: str, maker: str, lot: str) -> tuple[int, int] | None:
        """Return least and most units of a lot on the shelf; None where the book does not say."""
        stock = self.stock(item)
        return None if stock is None else stock.left(maker, lot)

    def contradicted(self) -> tuple[str, ...]:
        """Return the items looked at whose books or registers allow no arrangement at all."""
        books = [item for item, book in self._stock.items() if book and not book.feasible]
        return tuple(sorted(books + [i for i, p in self._placings.items() if not p.feasible]))

    def not_narrowed(self) -> tuple[str, ...]:
        """Return the scope's items, equipment apart, whose stock book is not complete."""
        return tuple(
            sorted(
                item
                for item in self._relevant
                if not self._item(item).book_complete
                and self._item(item).kind is not Kind.EQUIPMENT
            )
        )


def _is_captured(use: Use) -> bool:
    """Return whether what is recorded was read from the piece itself."""
    return use.pack is None and not use.counted


def _reasons(use: Use, clause: Clause, values: set[Value]) -> frozenset[Reason]:
    """Return why a part is open: each open value's reasons, and why its values differ."""
    reasons = {reason for value in values for reason in value.reasons}
    if len(values) > 1:
        if use.pack is not None:
            return frozenset(reasons | {Reason.INNER_LOT_NOT_KNOWN})
        if use.equipment:
            reasons.add(Reason.SERIAL_NOT_RECORDED)
        elif use.part.lot is None and clause.asks(OF_LOT):
            reasons.add(Reason.LOT_NOT_RECORDED)
        if use.part.maker is None:
            reasons.add(Reason.MAKER_NOT_RECORDED)
    return frozenset(reasons)
