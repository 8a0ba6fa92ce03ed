"""One look of the reader at some pixels, and where in the picture what it saw lies.

Calls and formats are those that were measured: other formats invent short numbers or change
characters (a Code 39 read as "full ASCII" loses the "+" of a HIBC label).
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
import zxingcpp
from cv2.typing import MatLike
from numpy.typing import NDArray

from traceability.imaging.photo import Grey

Map = NDArray[np.float64]
"""3 by 3: from the pixels that were looked at to those of the picture."""

BARS: Final = zxingcpp.barcode_formats_from_str("Code128,Code39Std,EAN13,ITF14")
MODULES: Final = zxingcpp.barcode_formats_from_str("DataMatrix,QRCode")
BOTH: Final = zxingcpp.barcode_formats_from_str("DataMatrix,QRCode,Code128,Code39Std,EAN13,ITF14")
LINEAR: Final = frozenset({"]E", "]I", "]C", "]A"})
"""Symbology identifiers, two characters, of symbols made of bars (ISO/IEC 15424)."""
ITF_DIGITS: Final = 14
"""The reader's filter lets shorter ones through, cut out of longer symbols."""


Vector = NDArray[np.float64]
"""x and y."""


def way_back(start: Vector, right: Vector, down: Vector) -> Map:
    """Return the map from dots of a cut to those of the picture.

    `start` is the cut's first dot, `right` and `down` the steps to the next ones, in the picture.
    """
    return np.array([[right[0], down[0], start[0]], [right[1], down[1], start[1]], [0, 0, 1]])


def cut_out(picture: Grey, back: Map, wide: int, tall: int) -> MatLike:
    """Return the part of a picture that a map leads to, edges carried on beyond the picture."""
    return cv2.warpAffine(
        picture,
        back[:2],
        (wide, tall),
        flags=cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What one look saw."""

    text: str
    symbology_identifier: str
    corners: NDArray[np.float64]
    """Upper left, upper right, lower right, lower left as the symbol stands; x and y in dots of
    the picture. Of bars, those of the band in which they were read."""
    way: str
    """How it was looked at."""

    @property
    def linear(self) -> bool:
        """Tell whether it is made of bars."""
        return self.symbology_identifier[:2] in LINEAR

    @property
    def middle(self) -> NDArray[np.float64]:
        """Return the middle, x and y."""
        return np.asarray(self.corners.mean(axis=0), dtype=np.float64)


def look(
    pixels: Grey,
    way: str,
    *,
    formats: zxingcpp.BarcodeFormats = BOTH,
    back: Map | None = None,
    whole: bool = False,
    binarizer: zxingcpp.Binarizer = zxingcpp.Binarizer.LocalAverage,
) -> Iterator[Seen]:
    """Yield what the reader sees in these pixels.

    Args:
        pixels: what is looked at.
        way: its name, kept with what is seen.
        formats: kinds of symbols to look for.
        back: where in the picture these pixels come from; None where they are the picture.
        whole: symbols may lie any way, and be larger than the reader likes.
        binarizer: how black is told from white.
    """
    if 0 in pixels.shape:
        return
    for read in zxingcpp.read_barcodes(
        pixels,
        formats=formats,
        text_mode=zxingcpp.TextMode.Plain,
        try_rotate=whole,
        try_downscale=whole,
        try_invert=True,
        binarizer=binarizer,
        is_pure=False,
        return_errors=False,
    ):
        name, place = read.symbology_identifier, read.position
        if name.startswith("]I") and len(read.text) != ITF_DIGITS:
            continue
        corners = np.array(
            [
                (corner.x, corner.y)
                for corner in (
                    place.top_left,
                    place.top_right,
                    place.bottom_right,
                    place.bottom_left,
                )
            ],
            dtype=np.float64,
        )
        if back is not None:
            corners = cv2.perspectiveTransform(corners[None], back)[0].astype(np.float64)
        yield Seen(text=read.text, symbology_identifier=name, corners=corners, way=way)
