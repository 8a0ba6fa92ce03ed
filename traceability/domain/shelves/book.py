"""One item's stock as a network: received batches on one side, uses on the other.

Uses that the same batches can serve are one demand; demands of one kind (which makers and lots fit,
which box) hang on one chain of batches in time, so the network grows with the batches and not with
the parts. Source: own design.
"""

from bisect import bisect_right
from collections.abc import Callable, Mapping
from datetime import datetime
from typing import NamedTuple, TypeAlias

from traceability.domain.shelves.facts import Receipt
from traceability.domain.shelves.flow import UNBOUNDED, Network

__all__ = ["Book", "Demand", "Pair", "Supply"]

Pair: TypeAlias = tuple[str, str]
"""Maker and lot."""


class Demand(NamedTuple):
    """Uses that the same batches can serve."""

    kind: int
    come: int
    """How many of the kind's batches had come by then; 0: none, nothing can serve it."""


class _Kind(NamedTuple):
    pairs: frozenset[Pair] | None
    """Makers and lots that fit; None: all."""
    box: str | None
    lines: tuple[int, ...]
    """Batches that fit, in order of time."""
    times: tuple[datetime, ...]


class Book:
    """The receipts of one item, and the kinds of demand that were asked about."""

    def __init__(self, receipts: list[Receipt]) -> None:
        """Keep the receipts in order of time; ties in the order given."""
        self.lines = sorted((r for r in receipts if r.qty > 0), key=lambda r: r.at)
        self.booked = frozenset((line.maker, line.lot) for line in self.lines)
        self.kinds: list[_Kind] = []
        self._numbers: dict[tuple[frozenset[Pair] | None, str | None], int] = {}

    def kind(self, pairs: frozenset[Pair] | None, box: str | None) -> int:
        """Return the number of a kind of demand, known or new."""
        key = (pairs, box)
        if key not in self._numbers:
            fits = [
                number
                for number, line in enumerate(self.lines)
                if (pairs is None or (line.maker, line.lot) in pairs) and box in {None, line.box}
            ]
            times = tuple(self.lines[number].at for number in fits)
            self._numbers[key] = len(self.kinds)
            self.kinds.append(_Kind(pairs, box, tuple(fits), times))
        return self._numbers[key]

    def demand(self, kind: int, at: datetime) -> Demand:
        """Return the demand of a use of a kind at a moment."""
        return Demand(kind, bisect_right(self.kinds[kind].times, at))

    def without(self, demand: Demand, banned: frozenset[Pair]) -> Demand:
        """Return a demand of the same moment that some makers and lots may not serve."""
        kind = self.kinds[demand.kind]
        pairs = (self.booked if kind.pairs is None else kind.pairs) - banned
        number = self.kind(pairs, kind.box)
        served = kind.lines[: demand.come]
        come = sum((self.lines[n].maker, self.lines[n].lot) not in banned for n in served)
        return Demand(number, come)

    def serving(self, demand: Demand) -> tuple[int, ...]:
        """Return the batches that can serve a demand."""
        return self.kinds[demand.kind].lines[: demand.come]


class Supply:
    """A book's network with as much of the needs served as can be."""

    def __init__(
        self,
        book: Book,
        needs: Mapping[Demand, int],
        usable: Callable[[Receipt], bool] = lambda _: True,
    ) -> None:
        """Lay the network out and fill it from the usable batches."""
        self.book = book
        self.net = Network()
        self.source, self.sink = self.net.node(), self.net.node()
        self.batch = [self.net.node() for _ in book.lines]
        self._chains: dict[int, list[int]] = {}
        self.node_of: dict[Demand, int] = {}
        for node, line in zip(self.batch, book.lines, strict=True):
            self.net.arc(self.source, node, line.qty if usable(line) else 0)
        self._to_sink = {
            demand: self.net.arc(self._node(demand), self.sink, count)
            for demand, count in needs.items()
            if count
        }
        self.served = self.net.fill(self.source, self.sink)

    def _node(self, demand: Demand) -> int:
        """Return a demand's node, hung on its kind's chain."""
        if demand not in self.node_of:
            self.node_of[demand] = self.net.node()
            if demand.come:
                chain = self._chain(demand.kind)
                self.net.arc(chain[demand.come - 1], self.node_of[demand], UNBOUNDED)
        return self.node_of[demand]

    def _chain(self, kind: int) -> list[int]:
        """Return one kind's chain: each link takes its own batch and all that came before."""
        if kind not in self._chains:
            links: list[int] = []
            for number in self.book.kinds[kind].lines:
                link = self.net.node()
                self.net.arc(self.batch[number], link, UNBOUNDED)
                if links:
                    self.net.arc(links[-1], link, UNBOUNDED)
                links.append(link)
            self._chains[kind] = links
        return self._chains[kind]

    def reached(self) -> dict[Demand, int]:
        """Return for each demand, as bits, the batches that some full service can give it.

        A batch that fits serves one of these uses in some arrangement exactly when it can be
        reached from the demand in what the network has left.
        """
        bits = self.net.marks_reached({node: 1 << n for n, node in enumerate(self.batch)})
        fits = {demand: sum(1 << n for n in self.book.serving(demand)) for demand in self.node_of}
        return {demand: bits[node] & fits[demand] for demand, node in self.node_of.items()}

    def can_serve_instead(self, changed: list[tuple[Demand, Demand]]) -> bool:
        """Return whether all needs can be met with some units of demand moved to others.

        Every need must be met now. The trial is taken back before returning.
        """
        done: list[list[int]] = []
        undone: list[list[int]] = []
        for old, _ in changed:
            path = [self._to_sink[old], *self.net.carried_to(self.node_of[old], self.source)]
            self.net.push(path, -1)
            undone.append(path)
        for _, new in changed:
            way = self.net.way_to(self._node(new), self.source, never=self.sink)
            if way is None:
                break
            self.net.push(way, 1)
            done.append(way)
        for way in done:
            self.net.push(way, -1)
        for path in undone:
            self.net.push(path, 1)
        return len(done) == len(changed)
