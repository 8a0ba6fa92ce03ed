"""A second, slow way to the same answer: list every arrangement, then count.

Written from the definition of the shelves (own definitions, common practice, no source), without
the flow, the searches or the grouping of the product. It shares with the product only how facts are
read into a situation and how one part with given identifiers is judged.
"""

from collections.abc import Iterator, Mapping, Sequence
from itertools import product
from typing import Any

from traceability.domain.shelves.facts import Item
from traceability.domain.shelves.scope import OF_LOT, Asked, Clause
from traceability.domain.shelves.situation import Situation, Use
from traceability.domain.shelves.values import Judge, Unit, Value
from traceability.domain.spans import Span, join, overlap

World = Mapping[int, Unit]
MOST = 60_000
"""Assignments looked at for one item; a story with more is not for this reference."""


class TooMany(Exception):
    """The story has too many arrangements to list."""


def _matched(uses: Sequence[Sequence[int]], units: int) -> bool:
    """Return whether every use can have a unit of its own (augmenting paths, unit by unit)."""
    owner: dict[int, int] = {}

    def give(use: int, tried: set[int]) -> bool:
        for unit in uses[use]:
            if unit not in tried:
                tried.add(unit)
                if unit not in owner or give(owner[unit], tried):
                    owner[unit] = use
                    return True
        return False

    return units >= len(uses) and all(give(use, set()) for use in range(len(uses)))


class Reference:
    """Answers one scope over one situation."""

    def __init__(self, situation: Situation, clauses: Sequence[Clause]) -> None:
        self.situation, self.clauses = situation, tuple(clauses)
        self.judge = Judge(situation)
        self.incomplete: set[str] = set()
        self.worlds: dict[str, list[World]] = {}
        for item in sorted({use.part.item for use in situation.uses} | set(situation.items)):
            self.worlds[item] = self._worlds(item)

    # arrangements

    def _variables(self, item: str) -> list[Use]:
        complete = (self.situation.items.get(item) or Item(name=item)).book_complete
        return [
            use
            for use in self.situation.uses
            if use.part.item == item
            and not use.foreign
            and use.pack is None
            and (
                use.part.serial is None
                if use.equipment
                else complete and (use.part.lot is None or use.part.maker is None)
            )
        ]

    def _domain(self, use: Use) -> list[Unit]:
        part = use.part
        if use.equipment:
            rows = sorted({(r.maker, r.serial) for r in self._register(part.item)})
            return [Unit(maker=m, lot=None, serial=s) for m, s in rows if part.maker in {None, m}]
        found = set()
        for line in self.situation.receipts:
            fits = line.item == part.item and line.qty > 0 and line.at <= use.start
            lot_fits = part.lot is None or line.lot == self.judge.booked(
                part.item, line.maker, part.lot
            )
            if (
                fits
                and lot_fits
                and part.maker in {None, line.maker}
                and part.box in {None, line.box}
            ):
                found.add((line.maker, line.lot))
        return [Unit(maker=m, lot=part.lot or lot, serial=part.serial) for m, lot in sorted(found)]

    def _register(self, item: str) -> list[Any]:
        return [r for r in self.situation.register if r.item == item]

    def _worlds(self, item: str) -> list[World]:
        """Return the arrangements of an item; one empty one where its book says nothing."""
        choices = {use.key: self._domain(use) for use in self._variables(item)}
        choices = {key: units for key, units in choices.items() if units}
        size = 1
        for units in choices.values():
            size *= len(units)
        if size > MOST:
            raise TooMany
        keys = list(choices)
        found: list[World] = []
        for pick in product(*choices.values()):
            world = dict(zip(keys, pick, strict=True))
            if self._allowed(item, world):
                found.append(world)
        if not found:
            self.incomplete.add(item)
        return found or [{}]

    def _allowed(self, item: str, world: World) -> bool:
        uses = [use for use in self.situation.uses if use.part.item == item]
        if any(use.equipment for use in uses):
            return self._one_place(uses, world)
        if not (self.situation.items.get(item) or Item(name=item)).book_complete:
            return True
        return self._conserved(item, uses, world)

    def _one_place(self, uses: Sequence[Use], world: World) -> bool:
        for a in uses:
            for b in uses:
                if a.key >= b.key or (a.key not in world and b.key not in world):
                    continue
                one, two = (world.get(u.key, self.judge.captured(u)) for u in (a, b))
                same = (one.maker, one.serial) == (two.maker, two.serial)
                known = one.maker is not None and one.serial is not None
                times = a.there is not None and b.there is not None
                if same and known and times and overlap(a.there, b.there):  # type: ignore[arg-type]
                    return False
        return True

    def _conserved(self, item: str, uses: Sequence[Use], world: World) -> bool:
        lines = [r for r in self.situation.receipts if r.item == item]
        units = [line for line in lines for _ in range(line.qty)]
        wants: list[list[int]] = []
        for use in uses:
            if use.foreign or use.pack is not None:
                continue
            unit = world.get(use.key, self.judge.captured(use))
            if unit.maker is None or unit.lot is None:
                continue
            text = self.judge.booked(item, unit.maker, unit.lot)
            if text is None:
                continue
            mine = [r for r in lines if (r.maker, r.lot) == (unit.maker, text)]
            boxed = use.part.box is not None and any(r.box == use.part.box for r in mine)
            wants.append(
                [
                    n
                    for n, r in enumerate(units)
                    if (r.maker, r.lot) == (unit.maker, text)
                    and r.at <= use.start
                    and (not boxed or r.box == use.part.box)
                ]
            )
        for out in self.situation.outs:
            if out.item != item or out.maker is None or out.lot is None:
                continue
            text = self.judge.booked(item, out.maker, out.lot)
            fits = [
                n
                for n, r in enumerate(units)
                if (r.maker, r.lot) == (out.maker, text) and r.at <= out.at
            ]
            wants += [fits] * (out.qty if text is not None else 0)
        return _matched(wants, len(units))

    # values and shelves

    def _root(self, use: Use) -> Use:
        return use if use.pack is None else self.situation.uses[use.pack]

    def _value(self, use: Use, clause: Clause, world: World) -> Value:
        root = self._root(use)
        unit = world.get(root.key, self.judge.captured(use))
        return self.judge.value(use, unit, clause)

    def _all_worlds(self, xs: Sequence[tuple[Use, Clause]]) -> Iterator[World]:
        """Every combination of the arrangements of the items that the set rests on."""
        items = sorted({self._root(use).part.item for use, _ in xs})
        size = 1
        for item in items:
            size *= len(self.worlds[item])
        if size > MOST:
            raise TooMany
        for picks in product(*(self.worlds[item] for item in items)):
            yield {key: unit for pick in picks for key, unit in pick.items()}

    def _is_captured(self, use: Use, clause: Clause) -> bool:
        own = self.judge.captured(use)
        return use.pack is None and self.judge.value(use, own, clause).yes

    def shelf(self, xs: Sequence[tuple[Use, Clause]], *, unknown: bool) -> dict[str, Any]:
        if any(self._is_captured(*x) for x in xs):
            return {"shelf": "confirmed"}
        seen: list[set[Value]] = [set() for _ in xs]
        every = bool(xs)
        for world in self._all_worlds(xs):
            values = [self._value(use, clause, world) for use, clause in xs]
            every = every and any(value.yes for value in values)
            for had, value in zip(seen, values, strict=True):
                had.add(value)
        if every:
            return {"shelf": "inferred"}
        if not unknown and all(value.no for had in seen for value in had):
            return {"shelf": "excluded"}
        reasons = {"contents_unknown"} if unknown else set()
        for (use, clause), had in zip(xs, seen, strict=True):
            reasons |= {str(reason) for value in had for reason in value.reasons}
            if len(had) > 1:
                reasons |= self._why_differing(use, clause)
        return {"shelf": "cannot_be_excluded", "reasons": sorted(reasons)}

    @staticmethod
    def _why_differing(use: Use, clause: Clause) -> set[str]:
        if use.pack is not None:
            return {"inner_lot_not_known"}
        found = set()
        if use.equipment:
            found.add("serial_not_recorded")
        elif use.part.lot is None and clause.asks(OF_LOT):
            found.add("lot_not_recorded")
        if use.part.maker is None:
            found.add("maker_not_recorded")
        return found

    def _values(self, use: Use, clause: Clause) -> set[Value]:
        return {self._value(use, clause, world) for world in self._all_worlds([(use, clause)])}

    def answer(self, *, with_stock: bool) -> dict[str, Any]:
        return {
            "circuits": {c.name: self._circuit(c.name) for c in self.situation.circuits},
            "patients": {
                patient: self._patient(patient)
                for patient in {c.patient for c in self.situation.connections}
            },
            "coverage": self._coverage(),
            **({"stock_left": self._left()} if with_stock else {}),
        }

    def _xs(self, circuit: str) -> list[tuple[Use, Clause, Span]]:
        return [
            (use, clause, time)
            for use in self.situation.uses
            if use.circuit == circuit
            for clause in self.clauses
            if use.part.item in clause.items and (time := clause.cut(use.there)) is not None
        ]

    def _unknown(self, circuit: str) -> list[Span]:
        since = next(c.unknown_since for c in self.situation.circuits if c.name == circuit)
        if since is None:
            return []
        return [t for c in self.clauses if (t := c.cut(Span(start=since))) is not None]

    def _circuit(self, circuit: str) -> dict[str, Any]:
        xs = [(use, clause) for use, clause, _ in self._xs(circuit)]
        return self.shelf(xs, unknown=bool(self._unknown(circuit)))

    def _patient(self, patient: str) -> dict[str, Any]:
        xs: list[tuple[Use, Clause]] = []
        sure: list[Span] = []
        possible: list[Span] = []
        unknown = beyond = False
        for connection in self.situation.connections:
            empty = connection.end is not None and connection.end <= connection.start
            if connection.patient != patient or empty:
                continue
            on = Span(start=connection.start, end=connection.end)
            times: list[Span] = []
            for use, clause, time in self._xs(connection.circuit):
                both = overlap(time, on)
                if both is None:
                    continue
                xs.append((use, clause))
                if self._is_captured(use, clause):
                    sure.append(both)
                if any(not value.no for value in self._values(use, clause)):
                    times.append(both)
            hidden = [b for t in self._unknown(connection.circuit) if (b := overlap(t, on))]
            unknown = unknown or bool(hidden)
            times += hidden
            possible += times
            beyond = beyond or (
                connection.transferred and any(t.end == connection.end for t in times)
            )
        row = self.shelf(xs, unknown=unknown)
        if row["shelf"] == "excluded":
            return row
        row["intervals"] = join(sure if row["shelf"] == "confirmed" else possible)
        if row["shelf"] == "confirmed" and join(possible) != join(sure):
            row["possible_intervals"] = join(possible)
        return row | ({"continues_beyond_our_record": True} if beyond else {})

    def _coverage(self) -> dict[str, int]:
        gaps = 0
        for circuit in self.situation.circuits:
            gaps += circuit.unknown_since is None and any(
                self._is_gap(use, clause) for use, clause, _ in self._xs(circuit.name)
            )
        hidden = sum(c.unknown_since is not None for c in self.situation.circuits)
        return {
            "circuits": len(self.situation.circuits),
            "with_gap": gaps,
            "foreign_unknown": hidden,
        }

    def _is_gap(self, use: Use, clause: Clause) -> bool:
        if use.pack is not None:
            values = self._values(use, clause)
            return len(values) > 1 or any(value.reasons for value in values)
        asks_serial = clause.asks({Asked.SERIALS, Asked.SERIAL_LIST})
        serial = use.part.serial is None and asks_serial
        lot = use.part.lot is None and not use.equipment
        return serial or lot or use.part.maker is None

    def _left(self) -> list[int] | None:
        clause = self.clauses[0]
        item, maker = clause.items[0], clause.maker
        book = (self.situation.items.get(item) or Item(name=item)).book_complete
        if not book or item in self.incomplete:
            return None
        text = self.judge.booked(item, maker, clause.tests[0].texts[0])
        if text is None:
            return [0, 0]
        lines = self.situation.receipts
        got = sum(r.qty for r in lines if (r.item, r.maker, r.lot) == (item, maker, text))
        outs = [o for o in self.situation.outs if o.item == item and o.maker == maker]
        fixed = sum(o.qty for o in outs if o.lot and self.judge.booked(item, maker, o.lot) == text)
        counts = [got - fixed - self._used(item, maker, text, w) for w in self.worlds[item]]
        return [min(counts), max(counts)]

    def _used(self, item: str, maker: str, text: str, world: World) -> int:
        used = 0
        for use in self.situation.uses:
            if use.part.item != item or use.foreign or use.pack is not None or use.equipment:
                continue
            unit = world.get(use.key, self.judge.captured(use))
            if unit.maker == maker and unit.lot is not None:
                used += self.judge.booked(item, maker, unit.lot) == text
        return used
