"""All arrangements of one item's unrecorded parts that its stock book allows, by maximum flow.

Every use of the item (recorded part, unrecorded part, stock out) takes a received unit of its own:
same lot, same box where it names one in which that lot came, received no later than the use. The
arrangements are the full flows of one network; none is ever listed. At a moment when every unit
that had come was used, what came before has nothing to do with what comes after: the network falls
apart into blocks there, each solved alone and only when asked about.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from itertools import groupby

from traceability.domain.shelves.book import Book, Demand, Pair, Supply
from traceability.domain.shelves.facts import Receipt
from traceability.domain.shelves.situation import Use
from traceability.domain.shelves.values import Judge

__all__ = ["StockArrangements"]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Want:
    """Units that were used at one moment."""

    at: datetime
    pairs: frozenset[Pair] | None
    """Makers and lots that fit; None: all."""
    box: str | None
    units: int
    key: int | None = None
    """Of an unrecorded part; None: it is known what was used, or nobody asks."""


@dataclass(slots=True)
class _Block:
    """What came and was used between two moments at which nothing was left."""

    lines: list[Receipt]
    wants: list[_Want]
    book: Book = field(init=False)
    open_parts: dict[int, Demand] = field(init=False)
    needs: Counter[Demand] = field(init=False)
    supply: Supply = field(init=False)
    feasible: bool = field(init=False)
    _reached: dict[Demand, int] | None = None
    _avoided: dict[tuple[tuple[Demand, Demand], ...], bool] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Lay the network out and serve as much as can be."""
        self.book = Book(self.lines)
        self.open_parts, self.needs = {}, Counter()
        for want in self.wants:
            demand = self.book.demand(self.book.kind(want.pairs, want.box), want.at)
            self.needs[demand] += want.units
            if want.key is not None:
                self.open_parts[want.key] = demand
        self.supply = Supply(self.book, self.needs)
        self.feasible = self.supply.served == self.needs.total()

    def possible(self, key: int) -> frozenset[Pair]:
        """Return the makers and lots that an unrecorded part can be."""
        if self._reached is None:
            self._reached = self.supply.reached()
        demand = self.open_parts[key]
        bits = self._reached[demand]
        lines = (self.book.lines[n] for n in self.book.serving(demand) if bits >> n & 1)
        return frozenset((line.maker, line.lot) for line in lines)

    def can_avoid(self, banned: Mapping[int, frozenset[Pair]]) -> bool:
        """Return whether one arrangement keeps every part named clear of what it is not to be."""
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

    def left(self, asked: Pair) -> tuple[int, int]:
        """Return the least and most units of a lot that need not have been used."""

        def is_it(line: Receipt) -> bool:
            return (line.maker, line.lot) == asked

        came = sum(line.qty for line in self.book.lines if is_it(line))
        most_used = Supply(self.book, self.needs, is_it).served
        others = Supply(self.book, self.needs, lambda line: not is_it(line)).served
        return came - most_used, came - (self.needs.total() - others)


class StockArrangements:
    """The arrangements of one item whose book is complete."""

    def __init__(self, judge: Judge, item: str, uses: Iterable[Use]) -> None:
        """Lay out what was used (no foreign parts, none inside a pack) and find the blocks."""
        self.judge, self.item = judge, item
        situation = judge.situation
        netted = situation.free.get(item)
        given = netted if netted is not None else situation.receipts
        self.lines = sorted(
            (r for r in given if r.item == item and r.qty > 0), key=lambda line: line.at
        )
        self._pairs: dict[tuple[str | None, str | None], frozenset[Pair] | None] = {}
        self._fits: dict[frozenset[Pair] | None, list[Receipt]] = {}
        self._booked = frozenset((line.maker, line.lot) for line in self.lines)
        self._boxes = frozenset((line.maker, line.lot, line.box) for line in self.lines)
        wants = [want for use in uses if (want := self._part(use)) is not None]
        for out in situation.outs:
            if out.item == item and out.qty > 0:
                recorded = out.maker is not None and out.lot is not None
                pairs = self._fitting(out.maker, out.lot)
                want = _Want(at=out.at, pairs=pairs, box=None, units=out.qty)
                if self._had_come(want) or (recorded and pairs):
                    wants.append(want)
        self.blocks = list(_blocks(self.lines, wants))
        self._block_of = {key: block for block in self.blocks for key in block.open_parts}
        enough = all(
            block.needs.total() <= sum(line.qty for line in block.lines) for block in self.blocks
        )
        fails = item in situation.items and situation.items[item].book_fails
        self.feasible = enough and not fails and all(block.feasible for block in self.blocks)
        """False: the book contradicts itself, more was used than received."""
        self._known: dict[tuple[int, Demand], frozenset[Pair]] = {}

    def _fitting(self, maker: str | None, lot: str | None) -> frozenset[Pair] | None:
        """Return the booked makers and lots that agree with what is recorded; None: any."""
        if maker is None and lot is None:
            return None
        if (maker, lot) not in self._pairs:
            mine = frozenset(pair for pair in self._booked if maker in {None, pair[0]})
            if lot is not None:
                texts = ((m, self._text(m, lot)) for m in {p[0] for p in mine})
                mine = frozenset((m, text) for m, text in texts if text is not None)
            self._pairs[maker, lot] = mine
        return self._pairs[maker, lot]

    def _text(self, maker: str, lot: str) -> str | None:
        """Return the booked text that a lot stands for; where units are kept free, one of theirs.

        A store that keeps free units gives no receipts, so those cannot be asked.
        """
        book = (text for by, text in self._booked if by == maker)
        return self.judge.texts.booked(self.item, maker, lot, book)

    def _part(self, use: Use) -> _Want | None:
        """Return what a part needs.

        A recorded lot that was never booked counts against nothing; an unrecorded part that
        nothing booked fits is left out and stays open.
        """
        part = use.part
        recorded = part.maker is not None and part.lot is not None
        if recorded and self.item in self.judge.situation.free:
            return None  # what was recorded is taken off already
        pairs = self._fitting(part.maker, part.lot)
        if not recorded:
            want = _Want(at=use.start, pairs=pairs, box=part.box, units=1, key=use.key)
            return want if self._had_come(want) else None
        if not pairs:
            return None
        boxed = any((maker, lot, part.box) in self._boxes for maker, lot in pairs)
        return _Want(at=use.start, pairs=pairs, box=part.box if boxed else None, units=1)

    def _had_come(self, want: _Want) -> bool:
        """Return whether anything that fits had come by then."""
        if want.pairs not in self._fits:
            pairs = want.pairs
            self._fits[pairs] = [
                line for line in self.lines if pairs is None or (line.maker, line.lot) in pairs
            ]
        fits = self._fits[want.pairs]
        if want.box is None:
            return bool(fits) and fits[0].at <= want.at
        return any(line.box == want.box and line.at <= want.at for line in fits)

    def possible(self, use: Use) -> frozenset[Pair] | None:
        """Return the makers and lots a part can be; None: nothing can be said by the book."""
        block = self._block_of.get(use.key)
        if block is None or not self.feasible:
            return None
        known = (id(block), block.open_parts[use.key])
        if known not in self._known:
            self._known[known] = block.possible(use.key)
        return self._known[known]

    def can_avoid(self, banned: Mapping[int, frozenset[Pair]]) -> bool:
        """Return whether one arrangement keeps every part named clear of what it is not to be.

        Args:
            banned: makers and lots by key of an unrecorded part; the book must be feasible.
        """
        by_block: dict[int, dict[int, frozenset[Pair]]] = {}
        blocks: dict[int, _Block] = {}
        for key, pairs in banned.items():
            block = self._block_of[key]
            blocks[id(block)] = block
            by_block.setdefault(id(block), {})[key] = pairs
        return all(blocks[number].can_avoid(keys) for number, keys in by_block.items())

    def left(self, maker: str, lot: str) -> tuple[int, int] | None:
        """Return the least and most units of a lot that can be left; None: the book fails."""
        if not self.feasible:
            return None
        text = self._text(maker, lot)
        if text is None or not self.blocks:
            return (0, 0)
        return self.blocks[-1].left((maker, text))  # of all others nothing is left


def _blocks(lines: list[Receipt], wants: list[_Want]) -> Iterator[_Block]:
    """Yield the blocks in order of time; only the last can have units left.

    Once more was used than had come there is no arrangement, and no block need be right.
    """
    moments = sorted(
        [(line.at, 0, n) for n, line in enumerate(lines)]
        + [(want.at, 1, n) for n, want in enumerate(wants)]
    )
    came: list[Receipt] = []
    used: list[_Want] = []
    left = 0
    for _, at_once in groupby(moments, key=lambda moment: moment[0]):
        for _, is_want, number in at_once:
            if is_want:
                used.append(wants[number])
                left -= wants[number].units
            else:
                came.append(lines[number])
                left += lines[number].qty
        if left == 0:
            yield _Block(came, used)
            came, used = [], []
    if came or used:
        yield _Block(came, used)
