"""A place of bars, turned level, averaged along its bars and sharpened: what a reader likes."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from traceability.imaging.looks import Map, cut_out, way_back
from traceability.imaging.photo import Grey
from traceability.imaging.places import Place

MARGIN: Final = 0.12
"""Part of the symbol's length that is shown beside each end, for its quiet zones."""
TALL: Final = 12
"""Rows of the same dots, so that the reader finds its lines."""
WIDEST: Final = 3000
"""Dots of a strip."""
FEWEST_EDGES: Final = 26
"""Of a Code 128 with one character: start, character, check and stop (ISO/IEC 15417)."""
INNER: Final = MARGIN / (1 + 2 * MARGIN)
LEANS: Final = 17
ANY_LOOK: Final = 8_000
"""What a look costs however small it is, in dots."""
ROWS: Final = 24
"""Rows that are enough to find how bars lean."""
PREPARING: Final = 8
"""Times that each dot is handled until a strip is level."""
TALL_ENOUGH: Final = 48
"""Rows from which five bands are looked at, not three."""
PARTS: Final = 6
MOST_LEAN: Final = 0.4
"""Bars may lie a little aslant in the strip: so many dots sideways for each dot down."""
MOVED_OR_SOFT: Final = (
    *(("moved", dots, noise) for dots in (2.0, 3.0, 4.0, 5.5, 7.0, 9.0) for noise in (0.02, 0.002)),
    *(("soft", dots, noise) for dots in (0.8, 1.2, 1.7, 2.3) for noise in (0.02, 0.002)),
)
DENSE: Final = tuple(
    ("soft", dots, noise) for dots in (0.6, 0.7, 0.8, 0.9) for noise in (0.01, 0.003, 0.001)
)
"""Blurs that are tried: lengths of a movement or widths of a soft edge, in dots of the picture, and
how much noise there is beside the bars. The second for bars of little more than one dot."""
LEAST_DENSE: Final = 110
"""Dots with margins; an EAN-13 has 95 modules (ISO/IEC 15420), so less is hardly a symbol."""
VIEWS: Final = {
    "mean": (0.0, 1.0),
    "top": (0.0, 0.5),
    "bottom": (0.5, 1.0),
    "band 0": (0.1, 0.35),
    "band 1": (0.35, 0.65),
    "band 2": (0.65, 0.9),
}
"""Parts of the bars that are looked at by themselves, for some may be cut, covered or bent."""

Floats = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Strip:
    """Pixels to look at, and the way back."""

    pixels: Grey
    way: str
    back: Map
    view: str
    """Looks at the same rows of dots, made sharper or larger, are one view: they err together."""
    cost: int
    """Dots that were handled to make it and look at it."""


def strips(picture: Grey, place: Place) -> Iterator[Strip]:
    """Yield ways of looking at bars, the likeliest first; each only made when it is asked for."""
    for number, scale in enumerate(_scales(place.along)):
        level, back = _levelled(picture, place, scale)
        if _edges(level.mean(axis=0)) < FEWEST_EDGES:
            return
        cost = PREPARING * level.size
        level = _upright(level)
        rows = level.shape[0]
        for name, view, line in _lines(level, scale, number):
            yield _flat(line, f"{name}*{scale:.1f}", view, back, rows, cost)
            cost = 0


def whole_strip(picture: Grey, place: Place) -> Grey:
    """Return the bars upright and otherwise as they are, for a reader that looks at rows."""
    level, _ = _levelled(picture, place, _scales(place.along)[0])
    return np.asarray(np.clip(_upright(level), 0, 255), np.uint8)


def _lines(level: Floats, scale: float, number: int) -> Iterator[tuple[str, str, Floats]]:
    """Yield name, view and the grey values along the symbol."""
    mean = level.mean(axis=0)
    for name, line in (("mean", mean), ("sharp", _sharpened(mean, 1.5, scale))):
        yield name, "mean", line
        yield f"even {name}", "mean", _evened(line)
    # Ink lighter than its ground, which the reader turns round by itself for modules alone.
    yield "light", "mean", -mean
    rows = level.shape[0]
    bands = 3 if rows < TALL_ENOUGH else 5
    for part in range(bands):
        band = level[part * rows // bands : (part + 1) * rows // bands].mean(axis=0)
        view = f"band {part}"
        for name, line in ((view, band), (f"sharp {view}", _sharpened(band, 1.5, scale))):
            even = _evened(line)
            yield name, view, even
            yield f"light {name}", view, -even
    if number == 0:
        for name, line in _unblurred(mean, scale, MOVED_OR_SOFT):
            yield name, "mean", _evened(line)
    elif scale > 1 and level.shape[1] > LEAST_DENSE * scale:
        for view, (start, end) in VIEWS.items():
            line = level[int(start * rows) : max(int(end * rows), int(start * rows) + 1)].mean(
                axis=0
            )
            for name, sharp in _unblurred(line, scale, DENSE):
                yield f"{name} {view}", view, _evened(sharp)


def _scales(along: float) -> tuple[float, ...]:
    fit = [scale for scale in (3.0, 4.5, 2.0) if scale * along * (1 + 2 * MARGIN) < WIDEST]
    return tuple(fit) or (WIDEST / (along * (1 + 2 * MARGIN)),)


def _levelled(picture: Grey, place: Place, scale: float) -> tuple[Floats, Map]:
    """Return the place with its bars upright, `scale` dots wide and one tall for each dot."""
    first, second, _, fourth = place.corners.astype(np.float64)
    along, down = second - first, fourth - first
    wide = max(round(place.along * (1 + 2 * MARGIN) * scale), 8)
    tall = max(min(round(place.across), 160), 4)
    # A row at each end is left out: half of it lies beside the bars.
    start = first - MARGIN * along
    step_x, step_y = along * (1 + 2 * MARGIN) / wide, down / tall
    back = way_back(start, step_x, step_y)
    return cut_out(picture, back, wide, tall).astype(np.float32), back


def _upright(level: Floats) -> Floats:
    """Return the strip with all bars upright: seen at a slant, they spread like a fan.

    Averaged along bars, edges are sharpest. That is tried in parts of the strip, and what is
    found is made into one even change along it.
    """
    tall, wide = level.shape
    rows = np.arange(tall, dtype=np.float32)[:, None] - (tall - 1) / 2
    columns = np.arange(wide, dtype=np.float32)[None]
    reach = min(MOST_LEAN, 12.0 / tall)
    leans = np.linspace(-reach, reach, LEANS)
    few = slice(None, None, max(tall // ROWS, 1))
    sharp = np.empty((LEANS, PARTS))
    inside = slice(round(wide * INNER), wide - round(wide * INNER))
    for at, lean in enumerate(leans):
        step = np.diff(_moved(level, columns + lean * rows[few], rows[few]).mean(axis=0)[inside])
        sharp[at] = [float((part * part).sum()) for part in np.array_split(step, PARTS)]
    best, weight = leans[sharp.argmax(axis=0)], np.sqrt(sharp.max(axis=0) - sharp.min(axis=0))
    if not weight.any():
        return level
    middles = np.linspace(-1 + 1 / PARTS, 1 - 1 / PARTS, PARTS)
    turn, base = np.polyfit(middles, best, 1, w=weight + 1e-6)
    for _ in range(2):  # a part that found something else is left out
        off = np.abs(best - (turn * middles + base))
        near = weight * (off <= max(2.5 * float(np.median(off)), leans[1] - leans[0])) + 1e-6
        turn, base = np.polyfit(middles, best, 1, w=near)
    across = (columns - wide / 2) / (wide / 2 - wide * INNER)
    lean = np.clip(turn * across + base, -2 * reach, 2 * reach)
    return _moved(level, columns + lean * rows, rows)


def _moved(level: Floats, columns: Floats, rows: Floats) -> Floats:
    from_x = columns.astype(np.float32)
    from_y = np.broadcast_to(rows + (level.shape[0] - 1) / 2, from_x.shape).astype(np.float32)
    moved = cv2.remap(level, from_x, from_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return moved.astype(np.float32)


def _evened(line: Floats) -> Floats:
    """Return the line with its darkest and lightest nearby as black and white, but for noise."""
    size = max(len(line) // 12, 9) | 1
    kernel = np.ones((1, size), np.uint8)
    row = line[None]
    light = cv2.blur(cv2.dilate(row, kernel), (size, 1))[0]
    dark = cv2.blur(cv2.erode(row, kernel), (size, 1))[0]
    least = 0.2 * float(np.percentile(line, 95) - np.percentile(line, 5))
    return np.asarray((line - dark) / np.maximum(light - dark, max(least, 1.0)), np.float32)


def _unblurred(
    line: Floats, scale: float, blurs: Sequence[tuple[str, float, float]]
) -> Iterator[tuple[str, Floats]]:
    """Yield the line as it may have been before the camera moved, or its lens was not sharp.

    Wiener, 1949: divided by the blur's own spectrum where that is not drowned in noise.
    """
    size = cv2.getOptimalDFTSize(len(line))
    padded = np.pad(line - line.mean(), (0, size - len(line)), mode="edge")
    spectrum = np.fft.rfft(padded)
    rate = np.fft.rfftfreq(size) * scale  # a dot of the picture is `scale` dots of the strip
    for name, dots, noise in blurs:
        moved = name == "moved"
        blur = np.sinc(rate * dots) if moved else np.exp(-2 * (np.pi * rate * dots) ** 2)
        sharp = np.fft.irfft(spectrum * blur / (blur * blur + noise), size)
        yield f"{name} {dots} {noise}", sharp[: len(line)].astype(np.float32)


def _edges(mean: Floats) -> int:
    """Return how often the line crosses its own middle, by more than noise does."""
    size = max(len(mean) // 12, 3) | 1
    off = mean - cv2.blur(mean[None], (size, 1))[0]
    level = 0.15 * float(np.percentile(np.abs(off), 95))
    side = np.sign(off[np.abs(off) > level])
    return int(np.count_nonzero(np.diff(side)))


def _sharpened(line: Floats, amount: float, scale: float) -> Floats:
    blurred = cv2.GaussianBlur(line[None], (0, 0), 1.2 * scale)[0].astype(np.float32)
    return np.asarray(line + amount * (line - blurred), np.float32)


def _flat(line: Floats, way: str, view: str, back: Map, rows: int, cost: int) -> Strip:
    """Return the line as a picture of equal rows, its darkest black and its lightest white."""
    low, high = (float(v) for v in np.percentile(line, (1, 99)))
    spread = np.clip((line - low) * (255 / max(high - low, 1e-3)), 0, 255).astype(np.uint8)
    pixels = np.repeat(spread[None], TALL, axis=0)
    down = np.diag([1.0, rows / TALL, 1.0])
    return Strip(pixels, way, back @ down, view, cost + pixels.size + ANY_LOOK)
