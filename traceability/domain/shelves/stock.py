"""All arrangements of one item's unrecorded parts that its stock book allows, by maximum flow.

Every use of the item (recorded part, unrecorded part, stock out) takes a received unit of its own:
same lot, same box where it names one in which that lot came, received no later than the use. The
arrangements are the full flows of one network; none is ever listed. Batches of units hang on
chains in time, one chain for each kind of demand, so the network grows with the batches and not
with the parts. Source: own design; maximum flow and residual reachability are textbook.
"""

from bisect import bisect_right
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import TypeAlias

from traceability.domain.shelves.facts import Receipt, StockOut
from traceability.domain.shelves.flow import UNBOUNDED, Network
from traceability.domain.shelves.situation import Use
from traceability.domain.shelves.values import Judge

__all__ = ["Pair", "StockArrangements"]

Pair: TypeAlias = tuple[str, str]
"""Maker and lot."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Demand:
    """Uses that the same batches can serve."""

    pairs: frozenset[Pair] | None
    """Makers and lots that fit; None: all."""
    box: str | None
    upto: int
    """How many of the lines, in order of time, had come by then."""


@dataclass(slots=True)
class _Filled:
    """A network with as much demand served as can be."""

    network: Network
    served: int
    batch: dict[int, int]
    """Line to node."""
    demand: dict[_Demand, int]
    """Demand to node."""


@dataclass(slots=True)
class StockArrangements:
    """The arrangements of one item whose book is complete."""

    judge: Judge
    item: str
    uses: tuple[Use, ...]
    """Parts of ours of that item: no foreign ones, none inside a pack."""
    lines: list[Receipt] = field(init=False)
    open_parts: dict[int, _Demand] = field(init=False)
    """Unrecorded parts that some batch fits, by key."""
    needs: Counter[_Demand] = field(init=False)
    feasible: bool = field(init=False)
    """False: the book contradicts itself, more was used than received."""
    _full: _Filled = field(init=False)
    _known: dict[_Demand, frozenset[Pair]] = field(init=False, default_factory=dict)
    _cleared: dict[tuple[tuple[str, int], ...], bool] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        """Lay out the demands and fill the network once."""
        situation = self.judge.situation
        lines = [r for r in situation.receipts if r.item == self.item and r.qty > 0]
        self.lines = sorted(lines, key=lambda r: r.at)
        self.open_parts, self.needs = {}, Counter()
        for use in self.uses:
            demand = self._demand_of(use)
            if demand is None:
                continue
            self.needs[demand] += 1
            if use.part.maker is None or use.part.lot is None:
                self.open_parts[use.key] = demand
        for out in situation.outs:
            taken = self._taken(out) if out.item == self.item and out.qty > 0 else None
            if taken is not None:
                self.needs[taken] += out.qty
        self._full = self._fill(self.needs)
        self.feasible = self._full.served == self.needs.total()

    def _upto(self, moment: datetime) -> int:
        """Return how many lines had come by a moment."""
        return bisect_right(self.lines, moment, key=lambda line: line.at)

    def _fitting(self, maker: str | None, lot: str | None) -> frozenset[Pair] | None:
        """Return the booked makers and lots that agree with what is recorded; None: any."""
        if maker is None and lot is None:
            return None
        booked = {(line.maker, line.lot) for line in self.lines}
        makers = {m for m, _ in booked if maker in {None, m}}
        if lot is None:
            return frozenset(pair for pair in booked if pair[0] in makers)
        texts = ((m, self.judge.booked(self.item, m, lot)) for m in makers)
        return frozenset((m, text) for m, text in texts if text is not None)

    def _demand_of(self, use: Use) -> _Demand | None:
        """Return what a part needs; None: nothing booked fits, so it counts against nothing."""
        part = use.part
        recorded = part.maker is not None and part.lot is not None
        pairs = self._fitting(part.maker, part.lot)
        if recorded and not pairs:
            return None
        box = part.box
        if recorded and not any(
            line.box == box and (line.maker, line.lot) in (pairs or ()) for line in self.lines
        ):
            box = None  # that lot never came in this box: the box says nothing
        demand = _Demand(pairs=pairs, box=box, upto=self._upto(use.start))
        return demand if recorded or self._serving(demand) else None

    def _taken(self, out: StockOut) -> _Demand | None:
        pairs = self._fitting(out.maker, out.lot)
        demand = _Demand(pairs=pairs, box=None, upto=self._upto(out.at))
        recorded = out.maker is not None and out.lot is not None
        return demand if (recorded and pairs) or self._serving(demand) else None

    def _serving(self, demand: _Demand) -> list[int]:
        """Return the lines that can serve a demand."""
        return [
            number
            for number, line in enumerate(self.lines[: demand.upto])
            if (demand.pairs is None or (line.maker, line.lot) in demand.pairs)
            and demand.box in {None, line.box}
        ]

    def _fill(
        self, needs: Mapping[_Demand, int], usable: Callable[[Receipt], bool] = lambda _: True
    ) -> _Filled:
        """Serve as many of the needs as possible from the usable lines."""
        net = Network()
        source, sink = net.node(), net.node()
        batch = {number: net.node() for number in range(len(self.lines))}
        for number, line in enumerate(self.lines):
            net.arc(source, batch[number], line.qty if usable(line) else 0)
        links: dict[tuple[frozenset[Pair] | None, str | None], dict[int, int]] = {}
        node_of: dict[_Demand, int] = {}
        for demand, count in needs.items():
            node = node_of[demand] = net.node()
            net.arc(node, sink, count)
            kind = (demand.pairs, demand.box)
            if kind not in links:
                links[kind] = self._chain(net, batch, demand)
            last = max((n for n in links[kind] if n < demand.upto), default=None)
            if last is not None:
                net.arc(links[kind][last], node, UNBOUNDED)
        served = net.fill(source, sink)
        return _Filled(network=net, served=served, batch=batch, demand=node_of)

    def _chain(self, net: Network, batch: Mapping[int, int], demand: _Demand) -> dict[int, int]:
        """Add one kind's chain: each link takes its own batch and all that came before."""
        whole = _Demand(pairs=demand.pairs, box=demand.box, upto=len(self.lines))
        chain: dict[int, int] = {}
        before: int | None = None
        for number in self._serving(whole):
            chain[number] = net.node()
            net.arc(batch[number], chain[number], UNBOUNDED)
            if before is not None:
                net.arc(before, chain[number], UNBOUNDED)
            before = chain[number]
        return chain

    def possible(self, use: Use) -> frozenset[Pair] | None:
        """Return the makers and lots a part can be; None: nothing can be said by the book."""
        demand = self.open_parts.get(use.key)
        if demand is None or not self.feasible:
            return None
        if demand not in self._known:
            reached = self._full.network.reached(self._full.demand[demand])
            serving = (n for n in self._serving(demand) if self._full.batch[n] in reached)
            self._known[demand] = frozenset(
                (self.lines[n].maker, self.lines[n].lot) for n in serving
            )
        return self._known[demand]

    def can_avoid(self, banned: Mapping[int, frozenset[Pair]]) -> bool:
        """Return whether one arrangement keeps every part named clear of what it is not to be.

        Args:
            banned: makers and lots by key of an unrecorded part.
        """
        needs = Counter(self.needs)
        for key, pairs in sorted(banned.items()):
            demand = self.open_parts[key]
            allowed = {(ln.maker, ln.lot) for ln in self.lines if not demand.pairs} | set(
                demand.pairs or ()
            )
            needs[demand] -= 1
            needs[_Demand(pairs=frozenset(allowed - pairs), box=demand.box, upto=demand.upto)] += 1
        needs = +needs
        question = tuple(sorted((_text(demand), count) for demand, count in needs.items()))
        if question not in self._cleared:
            self._cleared[question] = self._fill(needs).served == needs.total()
        return self._cleared[question]

    def left(self, maker: str, lot: str) -> tuple[int, int] | None:
        """Return the least and most units of a lot that can be left; None: the book fails."""
        if not self.feasible:
            return None
        text = self.judge.booked(self.item, maker, lot)
        received = sum(r.qty for r in self.lines if (r.maker, r.lot) == (maker, text))

        def is_it(line: Receipt) -> bool:
            return (line.maker, line.lot) == (maker, text)

        most_used = self._fill(self.needs, is_it).served
        least_used = self.needs.total() - self._fill(self.needs, lambda r: not is_it(r)).served
        return received - most_used, received - least_used


def _text(demand: _Demand) -> str:
    pairs = None if demand.pairs is None else sorted(demand.pairs)
    return repr((pairs, demand.box, demand.upto))
