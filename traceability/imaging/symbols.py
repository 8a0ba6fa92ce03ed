"""The symbols in a picture: their exact texts, where they are, and how sure the reading is.

The whole picture is looked at once. After that, time is spent only at places that look like symbols
and were not read, or were read in one view alone and have no second check of their own. How much is
spent is counted in dots, not in seconds: the same picture always gives the same answer.
"""

from collections.abc import Iterator
from dataclasses import replace
from typing import Final

import cv2
import numpy as np

from traceability.imaging.looks import BARS, MODULES, look
from traceability.imaging.photo import Grey, photos
from traceability.imaging.places import Place, find_places
from traceability.imaging.read_symbol import ReadSymbol
from traceability.imaging.second_reader import confirms
from traceability.imaging.sightings import Sightings
from traceability.imaging.squares import squares
from traceability.imaging.strips import Strip, strips, whole_strip

PICTURE: Final = 40_000_000
"""Dots that may be spent on a picture, beyond the first look: about half a second."""
FRAME: Final = 1_000_000
"""The same for one frame of a live camera, some 60 ms at 1280 by 720; the next one comes soon."""
FIRST: Final = 1_200_000
"""Of these at one place of bars before all places had their turn."""
MOST_DOTS: Final = 6_000_000
"""Places are looked for in at most so many dots; symbols of larger pictures have dots to spare."""


def read_symbols(data: bytes, *, spend: int = PICTURE) -> tuple[ReadSymbol, ...]:
    """Return the symbols in the picture, page by page, from top to bottom.

    Args:
        data: a file's bytes, whatever they are.
        spend: as for `read_picture`, for each page.

    Raises:
        UnreadablePicture: the bytes are no picture.
    """
    found: list[ReadSymbol] = []
    for number, photo in enumerate(photos(data), 1):
        for symbol in read_picture(photo.pixels, spend=spend):
            first, second, third, fourth = (
                (round(x * photo.reduced), round(y * photo.reduced)) for x, y in symbol.box
            )
            box = (first, second, third, fourth)
            found.append(replace(symbol, box=box, page=number))
    return tuple(found)


def read_picture(picture: Grey, *, spend: int = PICTURE) -> tuple[ReadSymbol, ...]:
    """Return the symbols among these pixels, from top to bottom.

    A text is suspect where a check in it fails, where two looks at the same bars saw different
    texts, and where one view alone saw it and it has no second check: misreads with a right check
    digit were each seen in one view only.

    Args:
        picture: grey, upright.
        spend: dots that may be looked at again.
    """
    sightings = Sightings(_places(picture))
    sightings.add(list(look(picture, "whole", whole=True)), None, "whole")
    bars = [(place, strips(picture, place)) for place in sightings.places if place.bars]
    left = spend
    for place, ways in bars:
        left -= _read_bars(sightings, place, ways, min(FIRST, left))
    modules = [place for place in sightings.places if not place.bars]
    later = [place for place in modules if sightings.holds_any(place)]
    for place in modules:
        if place not in later and not sightings.holds_any(place):
            left -= _read_modules(sightings, picture, place, left)
    for place, ways in bars:  # the same ways, where they were left
        left -= _read_bars(sightings, place, ways, left)
        _ask_another(sightings, picture, place)
    for place in later:  # those in which there is room for another symbol
        left -= _read_modules(sightings, picture, place, left)
    return sightings.symbols()


def _places(picture: Grey) -> list[Place]:
    if picture.size <= MOST_DOTS:
        return find_places(picture)
    tall, wide = picture.shape
    part = (MOST_DOTS / picture.size) ** 0.5
    size = (round(wide * part), round(tall * part))
    smaller = cv2.resize(picture, size, interpolation=cv2.INTER_AREA).astype(np.uint8)
    back = np.array([wide / size[0], tall / size[1]], np.float32)
    return [replace(each, corners=each.corners * back) for each in find_places(smaller)]


def _read_bars(sightings: Sightings, place: Place, ways: Iterator[Strip], most: int) -> int:
    """Look at bars until they are settled, or so much is spent; return what was."""
    spent = 0
    while spent < most and not sightings.settled(place):
        strip = next(ways, None)
        if strip is None:
            break
        seen = look(strip.pixels, strip.way, formats=BARS, back=strip.back)
        sightings.add(list(seen), place, strip.view)
        spent += strip.cost
    return spent


def _read_modules(sightings: Sightings, picture: Grey, place: Place, most: int) -> int:
    spent = 0
    ways = squares(picture, place)
    while spent < most and not sightings.settled(place):
        strip, binarizer = next(ways, (None, None))
        if strip is None or binarizer is None:
            break
        seen = look(
            strip.pixels,
            strip.way,
            formats=MODULES,
            back=strip.back,
            binarizer=binarizer,
            whole=True,
        )
        sightings.add(list(seen), place, strip.view)
        spent += strip.cost
    return spent


def _ask_another(sightings: Sightings, picture: Grey, place: Place) -> None:
    """Let the second reader, where there is one, confirm what one view alone saw."""
    doubted = [each for each in sightings.all if each.place is place and not each.sure()]
    if len(doubted) != 1 or not doubted[0].seen.linear:
        return
    if confirms(whole_strip(picture, place), doubted[0].seen.text):
        doubted[0].views.add("second reader")
