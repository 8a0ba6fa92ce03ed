"""Symbols of a picture to packs: which of them stand on one pack, and what is scanned of it.

A pack often carries two: product in one and lot in the other, or the same for two kinds of readers.
Counting symbols would count such a pack twice; joining everything that looks alike would lose four
of five packs of one lot. So two symbols are one pack's only if what they say fits together and one
of them says what the other does not, or says it in another kind of symbol; the nearest are joined
first, and never two of a kind. A half label between two packs is left to a person.

Sources: that partners may stand in another symbol of the same item: GS1 General Specifications,
section 4.13; the link of a HIBC secondary: ANSI/HIBC 2.6, section 2.2.2. Distances: own choice, no
source.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import combinations
from typing import Final

from traceability.domain.part_labels import read_part_of
from traceability.domain.symbols_seen import PackSeen, SymbolSeen, What
from traceability.domain.tags import read_symbol
from traceability.identifiers.interpret import interpret
from traceability.identifiers.pairs import join
from traceability.identifiers.reading import Reading, Standard, Status

__all__ = ["packs_seen"]

REACH: Final = 3.0
"""Symbols of one pack lie no further apart than so many times the longer side of the larger."""
CLEARLY: Final = 2.0
"""A half label belongs to the nearer of two packs only if the other is so many times as far."""
HALF: Final = ("missing-required",)


@dataclass(frozen=True, slots=True)
class _Said:
    """What one symbol says, made comparable."""

    seen: SymbolSeen
    reading: Reading
    facts: Mapping[str, str]

    @property
    def half(self) -> bool:
        """Without a product."""
        return "product" not in self.facts


def packs_seen(symbols: Iterable[SymbolSeen], today: date) -> tuple[PackSeen, ...]:
    """Return the packs in the picture, by the number of their first symbol."""
    parts: list[_Said] = []
    found: list[PackSeen] = []
    for seen in symbols:
        what = _what(seen, today)
        if what is What.PART:
            parts.append(_said(seen, today))
        else:
            found.append(PackSeen(what=what, symbols=(seen,), scans=(seen,)))
    groups, unclear = _groups(parts)
    found += [_pack(group, unclear, today) for group in groups]
    return tuple(sorted(found, key=lambda pack: pack.symbols[0].number))


def _what(seen: SymbolSeen, today: date) -> What:
    own = read_symbol(seen.text)
    if own is not None:
        return What.PART if read_part_of(own) else What.OURS
    reading = interpret(seen.text, symbology_identifier=seen.symbology_identifier, today=today)
    return What.PERSON if reading.private else What.PART


def _said(seen: SymbolSeen, today: date) -> _Said:
    reading = interpret(seen.text, symbology_identifier=seen.symbology_identifier, today=today)
    part = read_part_of(read_symbol(seen.text))
    product = reading.device_identifier or (part.item if part else None)
    is_half = reading.status is Status.OK or reading.reason_codes == HALF
    if product is None and not (is_half and (reading.lot or reading.serial or reading.expiry)):
        product = seen.text  # it names nothing that another symbol could complete
    named = {
        "product": product,
        "lot": part.lot if part else reading.lot,
        "serial": reading.serial,
        "expiry": reading.expiry.isoformat() if reading.expiry else None,
    }
    facts = {name: value for name, value in named.items() if value is not None}
    return _Said(seen, reading, facts)


def _groups(parts: Sequence[_Said]) -> tuple[list[list[_Said]], set[int]]:
    """Return which symbols stand together, and the numbers of halves that could be anybody's."""
    group_of = {each.seen.number: [each] for each in parts}
    unclear = _unclear(parts)
    pairs = sorted(
        ((_gap(one, other), one, other) for one, other in combinations(parts, 2)),
        key=lambda pair: pair[0],
    )
    for gap, one, other in pairs:
        first, second = group_of[one.seen.number], group_of[other.seen.number]
        if first is second or unclear & {each.seen.number for each in (one, other)}:
            continue
        same_unit = "serial" in one.facts and one.facts == other.facts
        near = gap <= REACH * max(_side(one), _side(other))
        if not (same_unit or (near and _fit(first, second))):
            continue
        first += second
        for each in second:
            group_of[each.seen.number] = first
    return list({id(group): group for group in group_of.values()}.values()), unclear


def _unclear(parts: Sequence[_Said]) -> set[int]:
    """Return the halves without a link that lie about as near to one pack as to another."""
    found = set()
    for each in parts:
        if not each.half or each.reading.standard is Standard.HIBC:
            continue
        near = sorted(
            (
                (_gap(each, other), other)
                for other in parts
                if other is not each and not other.half and _fit([each], [other])
            ),
            key=lambda pair: pair[0],
        )
        near = [pair for pair in near if pair[0] <= REACH * _side(each)]
        rivals = [gap for gap, other in near[1:] if not _fit([near[0][1]], [other])]
        if rivals and rivals[0] < CLEARLY * near[0][0] + _side(each) / 4:
            found.add(each.seen.number)
    return found


def _fit(first: Sequence[_Said], second: Sequence[_Said]) -> bool:
    """Tell whether all of both may stand on one pack."""
    for one in first:
        for other in second:
            clash = [
                name
                for name in one.facts.keys() & other.facts.keys()
                if one.facts[name] != other.facts[name]
            ]
            if clash:
                return False
            twins = one.facts == other.facts and "serial" not in one.facts
            if twins and one.seen.symbology_identifier == other.seen.symbology_identifier:
                return False  # the very same symbol twice: two packs of one lot
            if one.half != other.half and not _joins(one, other):
                return False
            if one.half and other.half:
                return False
    return True


def _joins(one: _Said, other: _Said) -> bool:
    primary, half = (other, one) if one.half else (one, other)
    if "lot" in primary.facts and half.facts.items() <= primary.facts.items():
        return True  # says again what the whole one says
    whole = join(primary.reading, half.reading, _ANY_DAY)
    return whole is not None and whole.device_identifier is not None


_ANY_DAY: Final = date(2000, 1, 1)
"""Whether two halves fit does not depend on the day."""


def _pack(group: Sequence[_Said], unclear: set[int], today: date) -> PackSeen:
    ordered = sorted(group, key=lambda each: each.seen.number)
    all_facts: dict[str, str] = {}
    for each in ordered:
        all_facts |= each.facts
    return PackSeen(
        what=What.PART,
        symbols=tuple(each.seen for each in ordered),
        scans=tuple(each.seen for each in _fewest(ordered, all_facts)),
        whole="product" in all_facts and bool({"lot", "serial"} & all_facts.keys()),
        unclear=any(each.seen.number in unclear for each in ordered),
    )


def _fewest(group: Sequence[_Said], all_facts: Mapping[str, str]) -> list[_Said]:
    """Return one symbol that says everything, else product first and then what it lacks."""
    sure_first = sorted(group, key=lambda each: (each.seen.suspect, each.half, each.seen.number))
    enough = [each for each in sure_first if not each.half and _says_all(each, all_facts)]
    if enough:
        return [enough[0]]
    named = [each for each in sure_first if not each.half]
    halves = [each for each in sure_first if each.half]
    if named and halves and not {"lot", "serial"} & named[0].facts.keys():
        return [named[0], halves[0]]
    fullest = max(sure_first, key=lambda each: (not each.half, len(each.facts)))
    return [fullest]


def _says_all(each: _Said, all_facts: Mapping[str, str]) -> bool:
    wanted = {name for name in all_facts if name != "expiry"}
    return wanted <= each.facts.keys()


def _side(each: _Said) -> float:
    wide, tall = _extent([each.seen])
    return max(wide, tall, 1.0)


def _extent(seen: Sequence[SymbolSeen]) -> tuple[float, float]:
    xs = [x for each in seen for x, _ in each.corners]
    ys = [y for each in seen for _, y in each.corners]
    return max(xs) - min(xs), max(ys) - min(ys)


def _gap(one: _Said, other: _Said) -> float:
    """Return how many dots lie between the boxes round two symbols; 0 where they touch."""
    gaps = []
    for axis in (0, 1):
        a = [corner[axis] for corner in one.seen.corners]
        b = [corner[axis] for corner in other.seen.corners]
        gaps.append(max(min(b) - max(a), min(a) - max(b), 0))
    return float((gaps[0] ** 2 + gaps[1] ** 2) ** 0.5)
