"""What looks at one picture have seen so far, and which sightings are of one symbol."""

from dataclasses import dataclass, field
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from traceability.imaging.belief import Belief, belief
from traceability.imaging.looks import Seen
from traceability.imaging.places import Place
from traceability.imaging.read_symbol import ReadSymbol

NEAR: Final = {True: 0.15, False: 0.4}
"""Middles nearer to each other than this part of the symbol's size: one symbol. By whether it is
made of bars, for those lie closer together than they are long."""


COVERED: Final = 0.3
"""Part of a place of modules that is symbols read already, so that no other has room."""


@dataclass(slots=True, eq=False)
class Sighting:
    """One symbol, and the views from which it was seen."""

    seen: Seen
    place: Place | None
    views: set[str]

    def sure(self) -> bool:
        """Tell whether it is believed: its checks agree, or two views do."""
        how = belief(self.seen.text, self.seen.symbology_identifier)
        if how is Belief.CONTRADICTED:
            return False
        return how is Belief.CONFIRMED or len(self.views) > 1

    def is_again(self, seen: Seen, place: Place | None) -> bool:
        """Tell whether this is the same symbol. Two packs of one lot carry one text twice."""
        known = self.seen
        if (known.text, known.symbology_identifier) != (seen.text, seen.symbology_identifier):
            return False
        if place is not None and place is self.place:
            return True
        if self.place is not None and self.place.holds(seen.middle):
            return True
        if place is not None and place.holds(known.middle):
            return True
        size = max(float(np.ptp(each.corners, axis=0).max()) for each in (known, seen))
        return float(np.linalg.norm(known.middle - seen.middle)) < NEAR[seen.linear] * size


@dataclass(slots=True)
class Sightings:
    """All symbols seen in one picture."""

    places: list[Place]
    all: list[Sighting] = field(default_factory=list)

    def add(self, look: list[Seen], place: Place | None, view: str) -> None:
        """Take in what one look saw; within one look, two are two."""
        before = list(self.all)
        for seen in look:
            here = place or self._place_of(seen)
            again = [each for each in before if each.is_again(seen, here)]
            if again:
                nearest = min(
                    again, key=lambda each: np.linalg.norm(each.seen.middle - seen.middle)
                )
                nearest.views.add(view)
                before.remove(nearest)
            else:
                self.all.append(Sighting(seen, here, {view}))

    def holds_any(self, place: Place) -> bool:
        """Tell whether a symbol was read at the place."""
        return any(place.holds(each.seen.middle) for each in self.all)

    def settled(self, place: Place) -> bool:
        """Tell whether more looks at the place would tell nothing new."""
        if not place.bars:
            read = [each.seen for each in self.all if place.holds(each.seen.middle)]
            covered = sum(float(cv2.contourArea(e.corners.astype(np.float32))) for e in read)
            return covered > COVERED * place.area
        here = [each for each in self.all if self._lies(each, place)]
        return any(each.sure() for each in here) and len({each.seen.text for each in here}) == 1

    def symbols(self) -> tuple[ReadSymbol, ...]:
        """Return the answer, from top to bottom."""
        answer = [
            ReadSymbol(
                text=each.seen.text,
                symbology_identifier=each.seen.symbology_identifier,
                box=_box(each, alone=not self._others(each)),
                suspect=not each.sure() or self._disputed(each),
                way=each.seen.way,
            )
            for each in self.all
        ]
        return tuple(sorted(answer, key=lambda symbol: (symbol.middle[1], symbol.middle[0])))

    def _place_of(self, seen: Seen) -> Place | None:
        fitting = [each for each in self.places if each.bars == seen.linear]
        return next((each for each in fitting if each.holds(seen.middle)), None)

    @staticmethod
    def _lies(sighting: Sighting, place: Place) -> bool:
        if not sighting.seen.linear:
            return False
        return sighting.place is place or place.holds(sighting.seen.middle)

    def _disputed(self, one: Sighting) -> bool:
        """Tell whether another look saw another text in these very bars."""
        return any(other.seen.text != one.seen.text for other in self._others(one))

    def _others(self, one: Sighting) -> list[Sighting]:
        if one.place is None or not one.seen.linear:
            return []
        return [each for each in self.all if each is not one and self._lies(each, one.place)]


def _box(
    sighting: Sighting, *, alone: bool
) -> tuple[tuple[int, int], tuple[int, int], tuple[int, int], tuple[int, int]]:
    corners = sighting.seen.corners
    if sighting.seen.linear and sighting.place is not None and alone:
        corners = _full_height(corners, sighting.place)
    first, second, third, fourth = ((round(float(x)), round(float(y))) for x, y in corners)
    return first, second, third, fourth


def _full_height(band: NDArray[np.float64], place: Place) -> NDArray[np.float64]:
    """Return the corners of the bars whose ends one band of rows gave."""
    left, right = (band[0] + band[3]) / 2, (band[1] + band[2]) / 2
    first, second, third, fourth = place.corners.astype(np.float64)
    bar = (fourth - first) / max(float(np.linalg.norm(fourth - first)), 1e-6)
    along = right - left
    if along[0] * bar[1] - along[1] * bar[0] < 0:  # down, as the symbol stands
        bar, (first, second, third, fourth) = -bar, (fourth, third, second, first)
    top = [_crossing(end, bar, first, second - first) for end in (left, right)]
    bottom = [_crossing(end, bar, fourth, third - fourth) for end in (left, right)]
    return np.array([top[0], top[1], bottom[1], bottom[0]])


def _crossing(
    start: NDArray[np.float64],
    way: NDArray[np.float64],
    other: NDArray[np.float64],
    along: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Return where two lines meet; where they hardly do, the start."""
    cross = way[0] * along[1] - way[1] * along[0]
    if abs(cross) < 0.2 * float(np.linalg.norm(along)):
        return start
    gap = other - start
    moved: NDArray[np.float64] = start + way * (gap[0] * along[1] - gap[1] * along[0]) / cross
    return moved
