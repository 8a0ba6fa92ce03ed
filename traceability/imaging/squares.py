"""A place of modules, cut out and prepared: what a reader likes."""

from collections.abc import Iterator
from typing import Final

import cv2
import numpy as np
import zxingcpp

from traceability.imaging.looks import Map, cut_out, way_back
from traceability.imaging.photo import Grey
from traceability.imaging.places import Place
from traceability.imaging.strips import Strip

MARGIN: Final = 0.18
"""Part of the place's size that is shown round it."""
COARSER: Final = 0.6
"""Scale under which the picture is softened first."""
FAINT: Final = 8.0
"""Grey levels between dark and light below which all is noise."""
NEAR: Final = 0.3
"""Part of a place by whose own greys black is told from white, where it shines."""
INNER: Final = MARGIN / (1 + 2 * MARGIN)
LOOK: Final = 2
"""Times that each dot is handled in a look: symbols may lie any way."""
SMALL: Final = 64
"""Dots on a side at which a place is judged before it is looked at."""
CHANGES: Final = 5
BUSY: Final = 0.5
"""Part of the rows, and of the columns, that change so often; of real ones at least 0.62 did."""
SIDES: Final = (240.0, 400.0)
"""Dots on a side to which a place is brought."""


def squares(picture: Grey, place: Place) -> Iterator[tuple[Strip, zxingcpp.Binarizer]]:
    """Yield ways of looking at modules, the likeliest first; each only made when asked for."""
    if not _looks_like_modules(_cut(picture, place, SMALL)[0]):
        return
    local, by_histogram = zxingcpp.Binarizer.LocalAverage, zxingcpp.Binarizer.GlobalHistogram
    for side in SIDES:
        cut, back = _cut(picture, place, side)
        spread = _spread(cut)
        cost = LOOK * spread.size
        yield Strip(spread, f"cut {side:.0f}", back, "cut", cost), local
        yield Strip(spread, f"cut {side:.0f} histogram", back, "cut", cost), by_histogram
        blurred = cv2.GaussianBlur(spread, (0, 0), 2).astype(np.float32)
        sharp = np.clip(spread + 1.5 * (spread - blurred), 0, 255).astype(np.uint8)
        yield Strip(sharp, f"sharp {side:.0f}", back, "cut", cost), local
        yield Strip(_even(spread), f"even {side:.0f}", back, "cut", cost), by_histogram
        near = round(NEAR * side) | 1
        parted = cv2.adaptiveThreshold(
            spread, 255, cv2.ADAPTIVE_THRESH_GAUSSIAN_C, cv2.THRESH_BINARY, near, 0
        )
        yield Strip(parted.astype(np.uint8), f"parted {side:.0f}", back, "cut", cost), local
        for name, how in (("closed", cv2.MORPH_CLOSE), ("opened", cv2.MORPH_OPEN)):
            done = cv2.morphologyEx(spread, how, np.ones((3, 3), np.uint8)).astype(np.uint8)
            yield Strip(done, f"{name} {side:.0f}", back, "cut", cost), local


def _cut(picture: Grey, place: Place, side: float) -> tuple[Grey, Map]:
    """Return the place lying square, with a margin, and the way back."""
    first, second, third, fourth = place.corners.astype(np.float64)
    # The side that leads most to the right becomes the upper one: nothing is mirrored.
    along, down = second - first, fourth - first
    if along[0] * down[1] - along[1] * down[0] < 0:
        first, along, down = fourth, third - fourth, first - fourth
    start = first - MARGIN * (along + down)
    grow = 1 + 2 * MARGIN
    scale = side / max(place.along, place.across)
    wide = max(round(place.along * grow * scale), 8)
    tall = max(round(place.across * grow * scale), 8)
    x, y = along * grow / wide, down * grow / tall
    back = way_back(start, x, y)
    ends = start + np.outer((0, 1, 0, 1), along * grow) + np.outer((0, 0, 1, 1), down * grow)
    left, top = np.maximum(np.floor(ends.min(axis=0)).astype(int) - 8, 0)
    right, bottom = np.ceil(ends.max(axis=0)).astype(int) + 8
    part = picture[top : max(bottom, top + 1), left : max(right, left + 1)]
    if scale < COARSER:  # else every other dot would be lost
        part = cv2.GaussianBlur(part, (0, 0), 0.4 / scale).astype(np.uint8)
    cut = cut_out(part, way_back(start - (left, top), x, y), wide, tall)
    return cut.astype(np.uint8), back


def _looks_like_modules(cut: Grey) -> bool:
    """Tell whether most rows and columns change often between dark and light.

    Print does not: between its lines nothing changes. Local means leave out glare and shade.
    """
    tall, wide = cut.shape
    top, left = round(tall * INNER), round(wide * INNER)
    near = np.subtract(cut, cv2.blur(cut, (SMALL // 4 | 1, SMALL // 4 | 1)), dtype=np.int16)
    near = near[top : tall - top, left : wide - left]
    level = 0.25 * float(np.percentile(np.abs(near), 90))
    for axis in (0, 1):
        changes = sum(
            np.count_nonzero(np.diff(side.astype(np.int8), axis=axis) > 0, axis=axis)
            for side in (near > level, near < -level)
        )
        if float(np.mean(np.asarray(changes) >= CHANGES)) < BUSY:
            return False
    return True


def _spread(cut: Grey) -> Grey:
    """Return the greys from black to white."""
    low, high = (float(v) for v in np.percentile(cut, (2, 98)))
    return np.asarray(np.clip((cut - low) * (255 / max(high - low, 1.0)), 0, 255), np.uint8)


def _even(cut: Grey) -> Grey:
    """Return the picture with light and shade over it taken out, as glare and folds make them."""
    size = max(cut.shape) // 6 | 1
    grown = np.ones((size, size), np.uint8)
    light, dark = (
        np.asarray(cv2.blur(cv2.morphologyEx(cut, how, grown), (size, size)), np.float32)
        for how in (cv2.MORPH_CLOSE, cv2.MORPH_OPEN)
    )
    evened = (cut - dark) * (255 / np.maximum(light - dark, FAINT))
    return np.asarray(np.clip(evened, 0, 255), np.uint8)
