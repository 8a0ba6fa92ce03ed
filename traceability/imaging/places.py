"""Where in a picture something looks like a symbol: a cheap look at edges, not at what they say.

The picture is cut into small cells. Bars make edges that all lie one way (high coherence of the
structure tensor: Bigün and Granlund, 1987, "Optimal orientation detection of linear symmetry");
matrix symbols make many edges that lie both ways. Such cells, joined, are the places at which more
than one look is worth its time.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

import cv2
import numpy as np
from cv2.typing import MatLike
from numpy.typing import NDArray

from traceability.imaging.photo import Grey

Floats = NDArray[np.float32]

CELL: Final = 4
"""Dots on each side of a cell."""
ONE_WAY: Final = 0.55
"""Coherence from which edges lie one way: 1 all, 0 as many across."""
WAYS: Final = 8
"""Directions of bars that are looked for one after the other."""
STROKE: Final = 3
"""Cells on each side of a cell, across the bars, that must look alike."""
SHORTEST: Final = 48
LOWEST: Final = 5
BROADEST: Final = 0.8
"""Symbols of bars, in dots: at least so long, bars so high; and length to height."""
STRONGEST: Final = 20
"""Cells that make the measure of what is strong."""
LEAST_CELLS: Final = 20
FILLED: Final = 0.6
"""Part of a place that its cells cover."""
SHARED: Final = 0.5
"""Two places that share so much of the smaller one are one."""
SPANS: Final = (1, 2, 4)
"""Cells on each side of what is looked at as one, for small and large modules."""
LEVELS: Final = (0.4, 0.16, 0.06)
"""Parts of the strongest that still count, for symbols of weaker print or light."""
NOISE: Final = 1.8
QUIET: Final = 20
"""How much stronger than the quietest part of the picture, in per cent of it, a place must be. One
symbol photographed close up fills most of a picture."""
LONGEST: Final = 2.4
"""Length to breadth of a matrix symbol, seen at a slant."""
FAINTEST: Final = 30.0
"""Mean square of the gradient, from which an edge is one: two grey levels or so a dot."""
MOST: Final = 24
"""Places of each kind, the largest first."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Place:
    """A part of the picture that looks like one symbol."""

    bars: bool
    """Else modules in rows and columns."""
    corners: Floats
    """Four points, x and y; for bars the first to the second run along the symbol, across bars."""
    strength: float

    @property
    def area(self) -> float:
        """Return the area in square dots."""
        return abs(float(cv2.contourArea(self.corners)))

    def holds(self, point: NDArray[np.float64]) -> bool:
        """Tell whether a point, x and y, lies in it."""
        at = (float(point[0]), float(point[1]))
        return cv2.pointPolygonTest(self.corners, at, measureDist=False) >= 0

    @property
    def along(self) -> float:
        """Return the length along the symbol, in dots."""
        return float(np.linalg.norm(self.corners[1] - self.corners[0]))

    @property
    def across(self) -> float:
        """Return the length of the bars, in dots."""
        return float(np.linalg.norm(self.corners[3] - self.corners[0]))


def find_places(picture: Grey) -> list[Place]:
    """Return what looks like symbols, bars before modules, the strongest first."""
    if min(picture.shape) < 8 * CELL:
        return []
    xx, yy, xy = _edges(picture)
    bars = _bars(xx, yy, xy)
    return bars + _modules(bars, xx, yy, xy)


def _edges(picture: Grey) -> tuple[Floats, Floats, Floats]:
    """Return the means of the products of the gradients, a value for each cell."""
    size = (picture.shape[1] // CELL, picture.shape[0] // CELL)
    across = cv2.Sobel(picture, cv2.CV_32F, 1, 0, scale=1 / 4)
    down = cv2.Sobel(picture, cv2.CV_32F, 0, 1, scale=1 / 4)
    means = [
        cv2.resize(product, size, interpolation=cv2.INTER_AREA).astype(np.float32)
        for product in (across * across, down * down, across * down)
    ]
    return means[0], means[1], means[2]


def _bars(*tensor: Floats) -> list[Place]:
    found: list[Place] = []
    for wide in (1, 2):
        xx, yy, xy = _coarser(tensor, wide)
        strength = xx + yy
        coherence = np.sqrt((xx - yy) ** 2 + 4 * xy**2) / (strength + 1)
        mask = (strength > max(FAINTEST, NOISE * float(np.percentile(strength, QUIET)))) & (
            coherence > ONE_WAY
        )
        steps = np.arctan2(2 * xy, xx - yy) * (0.5 * WAYS / np.pi)
        below = np.floor(steps)
        between, nearest = steps > below, below.astype(np.int8) % WAYS
        # One direction after the other, so that the edge of a label is never joined to its bars.
        # Each cell counts for the two directions that it lies between.
        for number in range(WAYS):
            after = between & (nearest == (number - 1) % WAYS)
            turned = (mask & ((nearest == number) | after)).astype(np.uint8)
            if cv2.countNonZero(turned) < LEAST_CELLS / 2:
                continue
            if wide > 1:  # gaps within wide bars
                turned = cv2.morphologyEx(turned, cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8))
            turned = cv2.morphologyEx(turned, cv2.MORPH_OPEN, _stroke(number * np.pi / WAYS))
            found.extend(_lying(turned, (xx, yy, xy), CELL * wide))
    return _apart(found)


def _coarser(tensor: tuple[Floats, ...], wide: int) -> tuple[Floats, Floats, Floats]:
    size = (max(tensor[0].shape[1] // wide, 1), max(tensor[0].shape[0] // wide, 1))
    xx, yy, xy = (
        np.asarray(
            cv2.GaussianBlur(cv2.resize(each, size, interpolation=cv2.INTER_AREA), (3, 3), 0),
            dtype=np.float32,
        )
        for each in tensor
    )
    return xx, yy, xy


def _lying(mask: MatLike, tensor: tuple[Floats, ...], cell: int) -> Iterator[Place]:
    """Yield the places of bars among the cells of one direction."""
    count, labels, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=4)
    for label in range(1, count):
        left, top, wide, tall, area = (int(v) for v in stats[label])
        if area < LEAST_CELLS:
            continue
        part = (slice(top, top + tall), slice(left, left + wide))
        inside = labels[part] == label
        a, b, c = (float(each[part][inside].sum()) for each in tensor)
        way = 0.5 * np.arctan2(2 * c, a - b)
        rows, columns = np.nonzero(inside)
        points = np.stack([columns + left + 0.5, rows + top + 0.5], axis=1) * cell
        place = _slanted(
            points, np.array([np.cos(way), np.sin(way)]), cell, (a + b) * (cell / CELL) ** 2
        )
        if place is not None:
            filled = min(area * cell**2 / (place.along * place.across), 1.0)
            if filled > FILLED:
                yield replace(place, strength=place.strength * filled**2)


def _stroke(angle: float) -> NDArray[np.uint8]:
    """Return a line across the bars: what is thinner than that, as an edge of a label, goes."""
    kernel = np.zeros((2 * STROKE + 1, 2 * STROKE + 1), np.uint8)
    x, y = round(STROKE * np.cos(angle)), round(STROKE * np.sin(angle))
    cv2.line(kernel, (STROKE - x, STROKE - y), (STROKE + x, STROKE + y), 1)
    return kernel


def _apart(found: list[Place]) -> list[Place]:
    """Return the strongest of those that lie on each other."""
    kept: list[Place] = []
    for place in sorted(found, key=lambda each: -each.strength):
        if len(kept) < MOST and all(_shared(place, other) < SHARED for other in kept):
            kept.append(place)
    return kept


def _shared(one: Place, other: Place) -> float:
    """Return what both cover as a part of what either covers."""
    common, _ = cv2.intersectConvexConvex(one.corners, other.corners)
    return float(common) / max(one.area + other.area - float(common), 1.0)


def _slanted(
    points: NDArray[np.float64], way: NDArray[np.float64], cell: int, strength: float
) -> Place | None:
    """Return the parallelogram round the cells: two sides along the bars, two along the symbol."""
    bar = np.array([-way[1], way[0]])
    middle = points.mean(axis=0)
    u, v = (points - middle) @ way, (points - middle) @ bar
    # Seen at a slant the symbol's long axis is not square to its bars.
    spread = float((u * u).mean())
    lean = float((u * v).mean()) / spread if spread > 0 else 0.0
    lean = max(-0.6, min(0.6, lean))
    v = v - lean * u
    low, high = _percentiles(u, 0.5, 99.5)
    near, far = _percentiles(v, 3, 97)
    low, high = low - cell / 2, high + cell / 2
    if high - low < SHORTEST or far - near < LOWEST or high - low < BROADEST * (far - near):
        return None
    corners = [
        middle + s * way + (t + lean * s) * bar
        for s, t in ((low, near), (high, near), (high, far), (low, far))
    ]
    return Place(bars=True, corners=np.array(corners, np.float32), strength=strength)


def _percentiles(values: NDArray[np.float64], *wanted: float) -> list[float]:
    """Return what numpy's own does, which for so few values takes most of the time to begin."""
    ordered, found = np.sort(values), []
    for each in wanted:
        at = each / 100 * (len(ordered) - 1)
        low = int(at)
        high = min(low + 1, len(ordered) - 1)
        found.append(float(ordered[low] + (ordered[high] - ordered[low]) * (at - low)))
    return found


def _modules(bars: list[Place], *tensor: Floats) -> list[Place]:
    found: list[Place] = []
    for wide in SPANS:
        xx, yy, xy = _coarser(tensor, wide)
        both = (xx + yy - np.sqrt((xx - yy) ** 2 + 4 * xy**2)) / 2
        cell = CELL * wide
        for place in bars:
            cv2.fillConvexPoly(both, (place.corners / cell).round().astype(np.int32), 0.0)
        top = (
            float(np.partition(both.ravel(), -STRONGEST)[-STRONGEST])
            if both.size > STRONGEST
            else 0.0
        )
        noise = max(FAINTEST / 8, 2 * NOISE * float(np.percentile(both, QUIET)))
        for level in LEVELS:
            if level * top < noise:
                break
            mask = (both > level * top).astype(np.uint8)
            mask = cv2.morphologyEx(mask, cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8))
            mask = cv2.morphologyEx(mask, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
            found.extend(_squares(mask, both, cell))
    return _apart(found)


def _squares(mask: MatLike, both: Floats, cell: float) -> list[Place]:
    found = []
    count, labels, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=4)
    for label in range(1, count):
        left, top, wide, tall, area = (int(v) for v in stats[label])
        if area < LEAST_CELLS / 2:
            continue
        part = (slice(top, top + tall), slice(left, left + wide))
        inside = labels[part] == label
        rows, columns = np.nonzero(inside)
        points = np.stack([columns + left + 0.5, rows + top + 0.5], axis=1).astype(np.float32)
        middle, (first, second), angle = cv2.minAreaRect(points * cell)
        first, second = first + cell, second + cell
        if max(first, second) > LONGEST * min(first, second):
            continue
        if area * cell**2 < FILLED * first * second:
            continue
        corners = np.asarray(cv2.boxPoints((middle, (first, second), angle)), np.float32)
        strength = float(both[part][inside].sum()) * (cell / CELL) ** 2
        found.append(Place(bars=False, corners=corners, strength=strength))
    return found
