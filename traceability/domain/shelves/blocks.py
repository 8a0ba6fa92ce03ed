"""Which parts without a lot, and which free units, can have to do with the lots asked for.

At a moment when every unit that had come was used, what came before has nothing to do with what
comes after. Only blocks of time in which a lot asked for came have to be looked into.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby

__all__ = ["InQuestion", "in_question"]


@dataclass(frozen=True, slots=True, kw_only=True)
class InQuestion:
    """What is left to be looked into, as places in the lists given."""

    lines: frozenset[int]
    wants: frozenset[int]
    short: bool
    """More was used by some moment than had come: nothing can be left out."""


def in_question(
    lines: Sequence[tuple[datetime, int, bool]], wants: Sequence[datetime]
) -> InQuestion:
    """Return the blocks that hold a lot asked for.

    Args:
        lines: free units: when they came, how many, and whether their lot is asked for. Any of
            them may serve any want that comes later.
        wants: when parts went in whose lot is not known.
    """
    moments = sorted(
        [(line[0], 0, n) for n, line in enumerate(lines)]
        + [(at, 1, n) for n, at in enumerate(wants)]
    )
    kept: tuple[set[int], set[int]] = (set(), set())
    block: tuple[list[int], list[int]] = ([], [])
    left = 0
    asked = short = False
    for _, at_once in groupby(moments, key=lambda moment: moment[0]):
        for _, is_want, number in at_once:
            block[is_want].append(number)
            left += -1 if is_want else lines[number][1]
            asked = asked or (not is_want and lines[number][2])
        short = short or left < 0
        if left == 0:
            if asked:
                kept[0].update(block[0])
                kept[1].update(block[1])
            block, asked = ([], []), False
    if asked:
        kept[0].update(block[0])
        kept[1].update(block[1])
    return InQuestion(lines=frozenset(kept[0]), wants=frozenset(kept[1]), short=short)
