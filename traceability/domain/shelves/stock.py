"""All arrangements of one item's unrecorded parts that its stock book allows, by maximum flow.

Every use of the item (recorded part, unrecorded part, stock out) takes a received unit of its own:
same lot, same box where it names one in which that lot came, received no later than the use. The
arrangements are the full flows of one network; none is ever listed.
"""

from collections import Counter
from collections.abc import Iterable, Mapping

from traceability.domain.shelves.book import Book, Demand, Pair, Supply
from traceability.domain.shelves.facts import Receipt
from traceability.domain.shelves.situation import Use
from traceability.domain.shelves.values import Judge

__all__ = ["StockArrangements"]


class StockArrangements:
    """The arrangements of one item whose book is complete."""

    def __init__(self, judge: Judge, item: str, uses: Iterable[Use]) -> None:
        """Lay out the demands of our own parts (no foreign ones, none inside a pack)."""
        self.judge, self.item = judge, item
        self.book = Book([r for r in judge.situation.receipts if r.item == item])
        self._pairs: dict[tuple[str | None, str | None], frozenset[Pair] | None] = {}
        self._boxes = frozenset((r.maker, r.lot, r.box) for r in self.book.lines)
        self.open_parts: dict[int, Demand] = {}
        self.needs: Counter[Demand] = Counter()
        for use in uses:
            self._add_part(use)
        for out in judge.situation.outs:
            if out.item == item and out.qty > 0:
                recorded = out.maker is not None and out.lot is not None
                pairs = self._fitting(out.maker, out.lot)
                demand = self.book.demand(self.book.kind(pairs, None), out.at)
                if demand.come or (recorded and pairs):
                    self.needs[demand] += out.qty
        self.supply = Supply(self.book, self.needs)
        self.feasible = self.supply.served == self.needs.total()
        """False: the book contradicts itself, more was used than received."""
        self._reached = self.supply.reached() if self.feasible else {}
        self._known: dict[Demand, frozenset[Pair]] = {}
        self._avoided: dict[tuple[tuple[Demand, Demand], ...], bool] = {}

    def _fitting(self, maker: str | None, lot: str | None) -> frozenset[Pair] | None:
        """Return the booked makers and lots that agree with what is recorded; None: any."""
        if maker is None and lot is None:
            return None
        if (maker, lot) not in self._pairs:
            mine = frozenset(pair for pair in self.book.booked if maker in {None, pair[0]})
            if lot is not None:
                texts = ((m, self.judge.booked(self.item, m, lot)) for m in {p[0] for p in mine})
                mine = frozenset((m, text) for m, text in texts if text is not None)
            self._pairs[maker, lot] = mine
        return self._pairs[maker, lot]

    def _add_part(self, use: Use) -> None:
        """Add what a part needs.

        A recorded lot that was never booked counts against nothing; an unrecorded part that
        nothing booked fits is left out and stays open.
        """
        part = use.part
        pairs = self._fitting(part.maker, part.lot)
        recorded = part.maker is not None and part.lot is not None
        if not recorded:
            demand = self.book.demand(self.book.kind(pairs, part.box), use.start)
            if demand.come:
                self.open_parts[use.key] = demand
                self.needs[demand] += 1
        elif pairs:
            boxed = any((maker, lot, part.box) in self._boxes for maker, lot in pairs)
            kind = self.book.kind(pairs, part.box if boxed else None)
            self.needs[self.book.demand(kind, use.start)] += 1

    def possible(self, use: Use) -> frozenset[Pair] | None:
        """Return the makers and lots a part can be; None: nothing can be said by the book."""
        demand = self.open_parts.get(use.key)
        if demand is None or not self.feasible:
            return None
        if demand not in self._known:
            bits = self._reached[demand]
            lines = (self.book.lines[n] for n in self.book.serving(demand) if bits >> n & 1)
            self._known[demand] = frozenset((line.maker, line.lot) for line in lines)
        return self._known[demand]

    def can_avoid(self, banned: Mapping[int, frozenset[Pair]]) -> bool:
        """Return whether one arrangement keeps every part named clear of what it is not to be.

        Args:
            banned: makers and lots by key of an unrecorded part; the book must be feasible.
        """
        changed = sorted(
            (demand := self.open_parts[key], self.book.without(demand, pairs))
            for key, pairs in banned.items()
        )
        if any(new.come == 0 for _, new in changed):
            return False
        question = tuple(changed)
        if question not in self._avoided:
            self._avoided[question] = self.supply.can_serve_instead(changed)
        return self._avoided[question]

    def left(self, maker: str, lot: str) -> tuple[int, int] | None:
        """Return the least and most units of a lot that can be left; None: the book fails."""
        if not self.feasible:
            return None
        asked = (maker, self.judge.booked(self.item, maker, lot))

        def is_it(line: Receipt) -> bool:
            return (line.maker, line.lot) == asked

        received = sum(line.qty for line in self.book.lines if is_it(line))
        most_used = Supply(self.book, self.needs, is_it).served
        others = Supply(self.book, self.needs, lambda line: not is_it(line)).served
        return received - most_used, received - (self.needs.total() - others)
