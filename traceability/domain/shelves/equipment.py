"""All placings of one item's unrecorded units of equipment: a unit serves one place at a time.

The register always counts as complete. What recorded serials keep busy is taken away; the rest is
a list colouring of overlapping times, hard in general and small in practice: it falls into groups
of overlapping unrecorded times, each searched depth first within a budget. Where the budget runs
out the answer is "may be", which is never the unsafe side.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final, TypeAlias

from traceability.domain.shelves.situation import Situation, Use
from traceability.domain.spans import overlap

__all__ = ["BUDGET", "EquipmentPlacings", "Machine"]

Machine: TypeAlias = tuple[str, str]
"""Maker and serial."""

BUDGET: Final = 20_000
"""Steps one question may take. Own choice: some hundredths of a second."""


@dataclass(slots=True)
class EquipmentPlacings:
    """The placings of one item of equipment."""

    situation: Situation
    item: str
    budget: int = BUDGET
    open_uses: dict[int, Use] = field(init=False)
    """Uses without a serial that a registered unit fits, by key."""
    free: dict[int, frozenset[Machine]] = field(init=False)
    """Registered units that no recorded use keeps busy meanwhile."""
    groups: list[list[int]] = field(init=False)
    feasible: bool = field(init=False)
    """False: more were in use at once than there are."""

    def __post_init__(self) -> None:
        """Take away what is busy, then group what overlaps."""
        uses = [
            use
            for use in self.situation.uses
            if use.equipment and use.part.item == self.item and not use.disputed and not use.doubts
        ]
        units = {(r.maker, r.serial) for r in self.situation.register if r.item == self.item}
        recorded = [u for u in uses if u.part.serial is not None and u.part.maker is not None]
        self.open_uses, self.free = {}, {}
        for use in uses:
            fits = {unit for unit in units if use.part.maker in {None, unit[0]}}
            if use.part.serial is not None or not fits:
                continue
            busy = {(r.part.maker, r.part.serial) for r in recorded if _meet(use, r)}
            self.open_uses[use.key] = use
            self.free[use.key] = frozenset(unit for unit in fits if unit not in busy)
        self.groups = self._grouped()
        self.feasible = all(self._place(group, self.free) is not False for group in self.groups)

    def _grouped(self) -> list[list[int]]:
        """Return the uses in groups whose times hang together, each in order of time."""
        groups: list[list[int]] = []
        waiting = sorted(self.open_uses.values(), key=lambda u: (u.start, u.key))
        for use in waiting:
            met = [g for g in groups if any(_meet(use, self.open_uses[key]) for key in g)]
            groups = [g for g in groups if g not in met]
            groups.append([key for g in met for key in g] + [use.key])
        return groups

    def possible(self, use: Use) -> frozenset[Machine] | None:
        """Return the units a use can be; None: the register says nothing."""
        if use.key not in self.open_uses or not self.feasible:
            return None
        group = next(g for g in self.groups if use.key in g)
        return frozenset(
            unit
            for unit in self.free[use.key]
            if self._place(group, {**self.free, use.key: frozenset({unit})}) is not False
        )

    def can_avoid(self, banned: Mapping[int, frozenset[Machine]]) -> bool:
        """Return whether one placing keeps every use named clear of what it is not to be."""
        allowed = {key: units - banned.get(key, frozenset()) for key, units in self.free.items()}
        asked = [group for group in self.groups if any(key in banned for key in group)]
        return all(self._place(group, allowed) is not False for group in asked)

    def _place(self, group: Sequence[int], choice: Mapping[int, frozenset[Machine]]) -> bool | None:
        """Return whether every use of a group can have a unit; None: the budget ran out.

        The use with the fewest units left goes next, so that dead ends show early.
        """
        meets = {
            key: [
                other
                for other in group
                if other != key and _meet(self.open_uses[key], self.open_uses[other])
            ]
            for key in group
        }
        left = {key: set(choice[key]) for key in group}
        steps = 0

        def search(waiting: frozenset[int]) -> bool | None:
            nonlocal steps
            if not waiting:
                return True
            key = min(waiting, key=lambda k: (len(left[k]), k))
            unsure = False
            for unit in sorted(left[key]):
                steps += 1
                if steps > self.budget:
                    return None
                touched = [o for o in meets[key] if o in waiting and unit in left[o]]
                for other in touched:
                    left[other].discard(unit)
                found = search(waiting - {key})
                for other in touched:
                    left[other].add(unit)
                if found:
                    return True
                unsure = unsure or found is None
            return None if unsure else False

        return search(frozenset(group))


def _meet(a: Use, b: Use) -> bool:
    """Return whether two uses share time; one that was never there shares none."""
    return a.there is not None and b.there is not None and overlap(a.there, b.there) is not None
